/* A shared tablet: it closes when nobody touches it, and asks before; digits to tap for a PIN. */
"use strict";

const leaving = document.getElementById("leaving");

function forgery() {
  return JSON.parse(document.body.getAttribute("data-hx-headers") || "{}")["X-CSRFToken"] || "";
}

if (leaving) {
  const idle = Number(leaving.dataset.idle) * 1000;
  const warn = Number(leaving.dataset.warn) * 1000;
  const EVERY = 15000;
  let touched = Date.now();
  let told = touched;
  let later = 0;
  let going = 0;

  const go = function () {
    if (Date.now() - going < 10000) return;
    going = Date.now();
    window.location.replace(leaving.dataset.left);
  };
  /* What the page asked before it is left would be answered with the door, which does not say why. */
  for (const name of ["htmx:beforeRequest", "htmx:beforeOnLoad"]) {
    document.addEventListener(name, function (event) { if (going) event.preventDefault(); });
  }

  const tell = function () {
    told = Date.now();
    later = 0;
    fetch(leaving.dataset.here, {
      method: "POST", credentials: "same-origin", redirect: "manual", headers: { "X-CSRFToken": forgery() },
    }).then(function (answer) {
      if (answer.type === "opaqueredirect" || answer.status === 403) go();
    }).catch(function () { told = 0; });
  };

  const touch = function () {
    if (Date.now() - touched >= idle) return go();
    touched = Date.now();
    if (leaving.open) leaving.close();
    /* The house hears of a touch at once or a little later, never less than was touched. */
    if (Date.now() - told >= EVERY) tell();
    else if (!later) later = setTimeout(tell, EVERY);
  };

  const watch = function () {
    const quiet = Date.now() - touched;
    if (quiet >= idle) go();
    else if (quiet >= warn && !leaving.open) leaving.showModal();
  };

  for (const name of ["pointerdown", "keydown", "input", "wheel"]) {
    document.addEventListener(name, touch, { passive: true });
  }
  setInterval(watch, 1000);
  document.addEventListener("visibilitychange", watch);
}

/* A page that the browser kept may be another child's. */
window.addEventListener("pageshow", function (event) {
  if (event.persisted) window.location.reload();
});

/* Where a page is drawn anew under somebody's finger or reading voice, it goes on at its heading. */
let within = false;
document.addEventListener("htmx:beforeSwap", function () {
  const page = document.getElementById("page");
  within = Boolean(page && page.contains(document.activeElement));
});
document.addEventListener("htmx:afterSettle", function () {
  if (!within || document.activeElement !== document.body) return;
  const heading = document.getElementById("step-h");
  if (heading) heading.focus();
});

const keypad = document.querySelector("[data-keypad]");
if (keypad) {
  const field = document.querySelector("[data-pin]");
  const count = document.querySelector("[data-pin-count]");
  const say = function () {
    const n = field.value.length;
    count.textContent = n === 1 ? count.dataset.single : count.dataset.many.replace("{n}", n);
  };
  keypad.hidden = false;
  document.querySelector("[data-plain-go]").hidden = true;
  keypad.addEventListener("click", function (event) {
    const digit = event.target.dataset && event.target.dataset.digit;
    if (!digit) return;
    if (digit === "rub") field.value = field.value.slice(0, -1);
    else if (field.value.length < Number(field.maxLength)) field.value += digit;
    say();
  });
}
