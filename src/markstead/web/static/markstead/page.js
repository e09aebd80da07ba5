/* What is typed in the quick line and in the grid of a day is kept until it is recorded. (What is typed elsewhere: typed.js.) */
"use strict";

/* The quick line: what is typed is kept until it is recorded, and the key / leads to it, unless that is switched off. */
function quickField() { return document.querySelector("[data-quick]"); }

function readyQuick() {
  const field = quickField();
  if (!field) return;
  const kept = "quick " + field.dataset.quick, act = field.dataset.recorded;
  if (act && window.markstead.drawer("sessionStorage", "quick recorded") !== act) {
    window.markstead.drawer("sessionStorage", kept, null);
    window.markstead.drawer("sessionStorage", "quick recorded", act);
  } else if (!field.value && window.markstead.drawer("sessionStorage", kept)) {
    field.value = window.markstead.drawer("sessionStorage", kept);
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
  for (const spare of document.querySelectorAll(".nojs")) spare.hidden = true;
  const slash = document.querySelector("[data-slash]");
  if (slash) {
    slash.hidden = false;
    slash.querySelector("input").checked = window.markstead.drawer("localStorage", "quick slash") !== "off";
  }
}

document.addEventListener("input", function (event) {
  if (event.target.matches("[data-quick]")) window.markstead.drawer("sessionStorage", "quick " + event.target.dataset.quick, event.target.value || null);
  if (event.target.matches("[data-slash] input")) window.markstead.drawer("localStorage", "quick slash", event.target.checked ? "on" : "off");
});
document.addEventListener("keydown", function (event) {
  const field = quickField();
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || !field) return;
  if (event.target.matches("input, textarea, select") || window.markstead.drawer("localStorage", "quick slash") === "off") return;
  event.preventDefault();
  field.focus();
});
document.addEventListener("htmx:oobAfterSwap", function (event) {
  if (event.detail.target.id !== "quickline") return;
  readyQuick();
  quickField().focus();
});

/* A long form keeps what is typed in the same way: it comes back after a reload, until it is recorded. */
function readyForm() {
  const form = document.querySelector("form[data-keep]");
  if (!form) return;
  const act = form.dataset.recorded;
  if (act && window.markstead.drawer("sessionStorage", "form recorded") !== act) {
    window.markstead.drawer("sessionStorage", form.dataset.keep, null);
    window.markstead.drawer("sessionStorage", "form recorded", act);
  } else if ("fresh" in form.dataset) {
    for (const [name, value] of JSON.parse(window.markstead.drawer("sessionStorage", form.dataset.keep) || "[]")) {
      const field = form.elements.namedItem(name);
      if (field && field.type !== "hidden") field.value = value;
    }
  }
}
function keepForm(event) {
  const form = event.target.form;
  if (!form || !form.dataset.keep) return;
  const typed = Array.from(form.elements).filter((f) => f.name && f.type !== "hidden" && f.type !== "submit" && f.value);
  window.markstead.drawer("sessionStorage", form.dataset.keep, JSON.stringify(typed.map((f) => [f.name, f.value])));
}
/* The word of an empty home stands behind the # of the address: no server is sent that part, and no list keeps it. */
function readyWord() {
  const field = document.querySelector("[data-word]"), word = location.hash.slice(1);
  if (!field || !word) return;
  history.replaceState(null, "", location.pathname);
  field.value = word;
  field.form.submit();
}
window.addEventListener("hashchange", readyWord);
/* Whoever goes out leaves nothing behind that was typed. */
document.addEventListener("submit", function (event) {
  if (event.target.matches("form.out")) { try { sessionStorage.clear(); } catch (_) { /* nothing is kept then */ } }
});
document.addEventListener("input", keepForm);
document.addEventListener("change", keepForm);
document.addEventListener("DOMContentLoaded", function () { readyQuick(); readyForm(); readyWord(); });

/* A picture from the camera is sent as soon as it is taken, also where it was there before this script;
   and whoever sends one is told that it is being read. */
function sendPicture(field) { if (field.files.length) field.form.requestSubmit(); }
document.addEventListener("change", function (event) {
  if (event.target.matches("[data-send]")) sendPicture(event.target);
});
document.addEventListener("DOMContentLoaded", function () {
  const came = performance.getEntriesByType("navigation")[0];
  if (came && came.type !== "navigate") return; /* some browsers put an old picture back: that one was sent */
  for (const field of document.querySelectorAll("[data-send]")) sendPicture(field);
});
document.addEventListener("submit", function (event) {
  const button = event.target.querySelector("[data-busy], label[data-busy]");
  if (button) { button.textContent = button.dataset.busy; button.setAttribute("aria-busy", "true"); }
});
