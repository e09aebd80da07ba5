/* What is typed is kept in this window until it is recorded: through a lost connection, a page drawn anew and a reload.
   Whatever was sent and not answered goes again with the same token, so that it is recorded once. */
"use strict";

window.markstead = {};
{
function drawer(kind, name, value) {
  try {
    const box = window[kind];
    if (value === undefined) return box.getItem(name);
    if (value === null) box.removeItem(name); else box.setItem(name, value);
  } catch (_) { /* a browser that keeps nothing is no worse off than before */ }
  return null;
}
window.markstead.drawer = drawer;

/* A lost connection is said in words; on a live page it is found again when the house is heard. */
function lost(on) {
  const note = document.getElementById("lost");
  if (note && note.hidden === on) note.hidden = !on;
}
window.markstead.lost = lost;
for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, function () { lost(true); });
}
document.addEventListener("htmx:afterRequest", function (event) { if (event.detail.successful) lost(false); });
window.addEventListener("offline", function () { lost(true); });
window.addEventListener("online", function () { if (!document.querySelector("[data-news]")) lost(false); });
/* An answer to an act is looked at from the top. */
document.addEventListener("htmx:afterSwap", function (event) {
  const answer = document.querySelector(".said");
  if (answer && event.detail.requestConfig && event.detail.requestConfig.verb === "post") answer.scrollIntoView({ block: "center" });
});

const TYPED = "typed ", HOURS = 4;
const WHO = document.body.dataset.who || "";
const PASSING = ["csrfmiddlewaretoken", "token", "seen", "stamp"];
const LOOSE = "input:not([type=hidden]):not([type=password]):not([type=file]):not([type=submit]):not([data-quick]):not([name=pin]), textarea, select";

/* A form is known by where it goes and what it is about. */
function formOf(form) {
  const about = Array.from(form.elements).filter((f) => f.type === "hidden" && f.name && !PASSING.includes(f.name));
  return [TYPED + WHO, location.pathname, form.getAttribute("action"), ...about.map((f) => f.name + "=" + f.value)].join("|");
}
function kept(form) { return form && form.method === "post" && WHO; }
/* A form with data-keep keeps its fields by itself: see page.js. */
function fields(form) {
  return "keep" in form.dataset ? [] : Array.from(form.elements).filter((f) => f.name && f.matches(LOOSE));
}
function changed(f) {
  if (f.type === "checkbox" || f.type === "radio") return f.checked !== f.defaultChecked;
  if (f.tagName === "SELECT") {
    const first = Array.from(f.options).findIndex((o) => o.defaultSelected);
    return f.selectedIndex !== Math.max(first, 0);
  }
  return f.value !== f.defaultValue;
}
function readKept(key) {
  try { return JSON.parse(drawer("sessionStorage", key)); } catch (_) { return null; }
}
function writeKept(key, what) { drawer("sessionStorage", key, what && JSON.stringify(what)); }
function keys() {
  try { return Object.keys(window.sessionStorage).filter((k) => k.startsWith(TYPED)); } catch (_) { return []; }
}

function keep(form) {
  if (!kept(form)) return;
  const key = formOf(form), before = readKept(key), all = fields(form);
  if (!all.some(changed) && !(before && before.token)) return writeKept(key, null);
  const values = all.map((f, n) => [f.name, n, ["checkbox", "radio"].includes(f.type) ? f.checked : f.value]);
  writeKept(key, { values: values, at: Date.now(), token: before ? before.token : null });
}

/* `left`: the page is left with it, and whatever page comes next is the answer. */
function sent(form, left) {
  if (!kept(form)) return;
  const key = formOf(form), token = form.elements.namedItem("token");
  const before = readKept(key) || { values: [] };
  writeKept(key, { ...before, at: Date.now(), token: token ? token.value : null, left: left });
}

function putBack(root, noted) {
  for (const form of root.querySelectorAll("form[method=post]")) {
    if (!kept(form)) continue;
    const key = formOf(form), found = readKept(key);
    if (!found) continue;
    if (Date.now() - found.at > HOURS * 3600000) { writeKept(key, null); continue; }
    const all = fields(form);
    for (const [name, n, value] of found.values) {
      const f = all[n];
      if (!f || f.name !== name) continue;
      if (f.type === "checkbox" || f.type === "radio") f.checked = value; else f.value = value;
      const shut = f.closest("details:not([open])");
      if (shut && changed(f)) shut.open = true;
    }
    const token = form.elements.namedItem("token");
    if (token && found.token) token.value = found.token;
    const note = document.getElementById("typed-note");
    if (noted && note && all.some(changed) && !form.querySelector(".typed-note")) form.append(note.content.cloneNode(true));
  }
}

function refused() { return document.querySelector(".said.refused, .said.mistaken, main [role=alert]:not(#lost)"); }

document.addEventListener("input", function (event) { keep(event.target.form); });
document.addEventListener("change", function (event) { keep(event.target.form); });

/* Forms that htmx sends. */
document.addEventListener("htmx:beforeRequest", function (event) {
  if (event.target.matches("form")) sent(event.target, false);
});
document.addEventListener("htmx:beforeSwap", function (event) {
  const form = event.detail.requestConfig && event.detail.requestConfig.elt;
  if (!form || !form.matches("form") || !kept(form) || !event.detail.xhr || event.detail.xhr.status >= 400) return;
  /* It has its answer. Refused, what was typed comes back, to be sent as something new. */
  const key = formOf(form), found = readKept(key);
  const no = /class="said (refused|mistaken)"/.test(event.detail.serverResponse || "");
  writeKept(key, no && found && found.values.length ? { values: found.values, at: Date.now(), token: null } : null);
});
document.addEventListener("htmx:afterSwap", function (event) { putBack(event.detail.target.parentNode || document, false); });

/* Forms that the browser sends by leaving the page: with something typed it leaves only while the house is there. */
let asked = null;
document.addEventListener("submit", function (event) {
  const form = event.target, by = event.submitter;
  if (event.defaultPrevented || form.method !== "post" || form.hasAttribute("data-hx-post")) return;
  const typed = "keep" in form.dataset || fields(form).some(changed);
  if (asked === form || !typed) { asked = null; sent(form, true); return; }
  event.preventDefault();
  if (asked) return;
  asked = form;
  const icon = document.querySelector("link[rel=icon]");
  fetch(icon.href, { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(5000) }).then(function () {
    form.requestSubmit(by);
    asked = null;
  }).catch(function () {
    asked = null;
    keep(form);
    window.markstead.lost(true);
  });
});

document.addEventListener("DOMContentLoaded", function () {
  const came = performance.getEntriesByType("navigation")[0];
  const through = came && came.type === "navigate" && document.referrer.startsWith(location.origin);
  for (const key of keys()) {
    const mine = WHO && key.startsWith(TYPED + WHO + "|");
    const found = readKept(key);
    /* Another person's, or sent from a page that led here and was not refused. */
    if (!found || (WHO && !mine) || document.querySelector("[data-forget]")) writeKept(key, null);
    else if (found.left && through && !refused()) writeKept(key, null);
  }
  putBack(document, true);
});
}
