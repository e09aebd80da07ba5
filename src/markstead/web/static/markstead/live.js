/* Live pages: they hear at once that something is new and ask for their own part; a lost connection is said in words. */
"use strict";

{
const live = {
  page: document.querySelector("[data-news]"),
  stream: null,
  asks: 0,      /* seconds from look to look where nothing is heard; 0 while a stream tells */
  heard: 0,     /* when the house was heard last */
  looked: 0,
  asking: false,
  again: false, /* something came in while the page was asking, or while somebody was writing on it */
  missed: 0,
  sending: null, /* the form that is on its way */
  sent: 0,      /* when something was sent last */
  pressed: 0,
};
const PART = ".today, .mine, .wall";
const SLOW = 15, FAST = 2, SILENT = 25, GRACE = 2500;

const lost = window.markstead.lost;

/* Nothing is drawn anew under a hand that writes: in a field of the part, or in an answer that was opened. */
function busy(part) {
  const at = document.activeElement;
  const writes = at && part.contains(at) && at.matches("input:not([type=checkbox]):not([type=radio]), textarea, select");
  return Boolean(writes || part.querySelector("details.back[open], .override"));
}

/* Nor while an answer is on its way, or a finger on a button. */
function held(part) {
  const now = Date.now();
  return busy(part) || now - live.pressed < 1500 || (live.sending && now - live.sent < 25000);
}

function look() {
  const part = document.querySelector(PART);
  if (!part || !window.htmx || document.hidden) return;
  const asking = live.asking && Date.now() - live.looked < 20000;
  if (asking || held(part)) { live.again = true; return; }
  live.again = false;
  live.asking = true;
  live.looked = Date.now();
  window.htmx.trigger(part, "markstead-look");
}

function hear() {
  live.heard = Date.now();
  clearTimeout(live.missed);
  live.missed = 0;
  lost(false);
}

function miss() {
  if (!live.missed) live.missed = setTimeout(function () { lost(true); }, GRACE);
}

function closeStream() {
  if (live.stream) live.stream.close();
  live.stream = null;
}

function openStream() {
  if (!live.page || live.stream || document.hidden || !navigator.onLine) return;
  if (!window.EventSource) { live.asks = FAST; return; }
  const stream = live.stream = new EventSource(live.page.dataset.news);
  live.heard = Date.now();
  stream.addEventListener("open", function () { live.asks = 0; hear(); look(); });
  stream.addEventListener("beat", hear);
  stream.addEventListener("news", function () { hear(); look(); });
  /* This server tells nothing by itself. */
  stream.addEventListener("ask", function () { hear(); live.asks = FAST; closeStream(); });
  stream.addEventListener("error", function () {
    live.asks = FAST;
    if (stream.readyState === EventSource.CLOSED) closeStream(); else miss();
  });
}

/* Once a second: is it time to look, is the stream silent, is there none? */
let tried = Date.now();
function tick() {
  const now = Date.now();
  if (live.stream && now - live.heard > SILENT * 1000) { closeStream(); miss(); live.asks = FAST; }
  if (!live.stream && now - tried > 20000) { tried = now; openStream(); }
  const every = (live.asks || SLOW) * 1000;
  if (live.page && (live.again || now - live.looked >= every)) look();
}

if (live.page) {
  openStream();
  setInterval(tick, 1000);
  document.addEventListener("visibilitychange", function () {
    /* A browser has few connections for one house: a page that nobody sees holds none. */
    if (document.hidden) closeStream(); else { openStream(); look(); }
  });
  document.addEventListener("focusout", function () { if (live.again) setTimeout(look, 200); });
}
window.addEventListener("offline", function () { closeStream(); live.asks = FAST; });
window.addEventListener("online", function () { tried = Date.now(); openStream(); look(); });
window.addEventListener("pagehide", function () { closeStream(); clearTimeout(live.missed); });
window.addEventListener("pageshow", function (event) { if (event.persisted) openStream(); });

function isLook(event) {
  const by = event.detail.requestConfig ? event.detail.requestConfig.elt : event.detail.elt;
  return Boolean(by && by.matches && by.matches(PART));
}
function answered(event) {
  if (isLook(event)) live.asking = false;
  if (event.detail.requestConfig && event.detail.requestConfig.elt === live.sending) live.sending = null;
}
for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, answered);
}
document.addEventListener("htmx:afterRequest", answered);
document.addEventListener("htmx:beforeRequest", function (event) {
  const by = event.detail.requestConfig.elt;
  if (!by.matches("form")) return;
  live.sending = by;
  live.sent = Date.now();
});
for (const [name, down] of [["pointerdown", true], ["pointerup", false], ["pointercancel", false]]) {
  document.addEventListener(name, function () { live.pressed = down ? Date.now() : 0; }, { passive: true });
}

/* The place of the keyboard, as it can be found again on a page that is drawn anew. */
function placeOf(element) {
  const form = element.closest("form");
  const about = form ? Array.from(form.querySelectorAll("input[type=hidden]")).filter((f) => !["csrfmiddlewaretoken", "token", "seen"].includes(f.name)) : [];
  return [element.tagName, element.getAttribute("href"), element.textContent.trim(), form && form.getAttribute("action"), ...about.map((f) => f.value)].join("|");
}

/* What is drawn anew because somebody else did something takes nothing away: not the answer to an act with its way back,
   not the place of the keyboard, not a finger's press, nothing that was sent meanwhile. */
let said = null, place = null;
document.addEventListener("htmx:beforeSwap", function (event) {
  if (!isLook(event) || event.detail.xhr.status !== 200) return;
  const part = event.detail.requestConfig.elt;
  if (live.sent >= live.looked || held(part)) {
    event.detail.shouldSwap = false;
    live.again = true;
    return;
  }
  const at = document.activeElement;
  place = at && part.contains(at) && !at.id ? placeOf(at) : null;
  said = part.matches(".today") ? part.querySelector(".said.done") : null;
  if (said) said.remove();
});
document.addEventListener("htmx:afterSwap", function (event) {
  const part = document.querySelector(PART);
  if (!isLook(event)) return;
  if (said && part && !part.querySelector(".said")) {
    said.removeAttribute("role"); /* it was read out when it came */
    part.querySelector(".dayline").after(said);
  }
  if (place && part) {
    const same = Array.from(part.querySelectorAll("a, button, summary")).find((e) => placeOf(e) === place);
    if (same) same.focus({ preventScroll: true });
  }
  said = place = null;
});
}
