/* Small help for the page: it looks for news while nobody types, and a lost connection is said. */
"use strict";

function idle() {
  const at = document.activeElement;
  const typing = at && ["INPUT", "TEXTAREA", "SELECT"].includes(at.tagName);
  return !typing && !document.hidden && !document.querySelector("details.back[open], .override");
}

function look() {
  const page = document.querySelector(".today");
  if (page && window.htmx && idle()) window.htmx.trigger(page, "markstead-look");
}

function lost(on) {
  for (const note of document.querySelectorAll(".lost")) note.hidden = !on;
}

setInterval(look, 5000);
document.addEventListener("visibilitychange", look);
for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, function () { lost(true); });
}
document.addEventListener("htmx:afterRequest", function (event) {
  if (event.detail.successful) lost(false);
});
/* An answer to an act is looked at from the top. */
document.addEventListener("htmx:afterSwap", function (event) {
  if (event.detail.requestConfig && event.detail.requestConfig.verb === "post") {
    const said = document.querySelector(".said");
    if (said) said.scrollIntoView({ block: "center" });
  }
});
