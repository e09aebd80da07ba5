/* Live pages: they hear at once that something is new and ask for their own part; a lost connection is said in words. */
"use strict";

const live = {
  page: document.querySelector("[data-news]"),
  stream: null,
  asks: 0,      /* seconds from look to look where nothing is heard; 0 while a stream tells */
  heard: 0,     /* when the house was heard last */
  looked: 0,
  asking: false,
  again: false, /* something came in while the page was asking, or while somebody was writing on it */
  missed: 0,
};
const SLOW = 30, FAST = 2, SILENT = 25, GRACE = 2500;

function lost(on) {
  const note = document.getElementById("lost");
  if (note && note.hidden === on) note.hidden = !on;
}

/* Nothing is drawn anew under a hand that writes: in a field of the part, or in an answer that was opened. */
function busy(part) {
  const at = document.activeElement;
  const writes = at && part.contains(at) && at.matches("input:not([type=checkbox]):not([type=radio]), textarea, select");
  return Boolean(writes || part.querySelector("details.back[open], .override"));
}

function look() {
  const part = document.querySelector(".today, .mine, .wall");
  if (!part || !window.htmx || document.hidden) return;
  const asking = live.asking && Date.now() - live.looked < 20000;
  if (asking || busy(part)) { live.again = true; return; }
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
window.addEventListener("offline", function () { closeStream(); live.asks = FAST; lost(true); });
window.addEventListener("online", function () { tried = Date.now(); openStream(); look(); });
window.addEventListener("pagehide", function () { closeStream(); clearTimeout(live.missed); });
window.addEventListener("pageshow", function (event) { if (event.persisted) openStream(); });

function answered(event) {
  const by = event.detail.elt;
  if (by && by.matches && by.matches(".today, .mine, .wall")) live.asking = false;
}
for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, function (event) { answered(event); lost(true); });
}
document.addEventListener("htmx:afterRequest", function (event) {
  answered(event);
  if (event.detail.successful) lost(false);
});
/* An answer to an act is looked at from the top. */
document.addEventListener("htmx:afterSwap", function (event) {
  if (event.detail.requestConfig && event.detail.requestConfig.verb === "post") {
    const said = document.querySelector(".said");
    if (said) said.scrollIntoView({ block: "center" });
  }
});
