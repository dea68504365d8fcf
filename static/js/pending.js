// A request that takes more than a moment is seen. One that fails says why, and wipes nothing.

import { signedOut } from "./answered.js";

const PATIENCE = 300;
const REPEAT = 5000;
const bar = document.getElementById("pending");
const lost = document.getElementById("lost");
let running = 0;
let timer = 0;

function begin() {
  running += 1;
  timer ||= setTimeout(() => { bar.hidden = false; }, PATIENCE);
}

function end() {
  running = Math.max(0, running - 1);
  if (running) return;
  clearTimeout(timer);
  timer = 0;
  bar.hidden = true;
}

function say(reason) {
  for (const part of lost.querySelectorAll("[data-reason]")) part.hidden = part.dataset.reason !== reason;
  lost.hidden = false;
}

// What asked may be gone from the page when the answer comes, and nobody hears of it then but the request itself.
document.addEventListener("htmx:beforeSend", ({ detail }) => {
  begin();
  detail.xhr.addEventListener("loadend", end);
});
document.addEventListener("htmx:afterRequest", (event) => {
  if (event.detail.successful && !signedOut(event.detail.xhr)) lost.hidden = true;
});
document.addEventListener("htmx:beforeSwap", (event) => {
  if (!signedOut(event.detail.xhr)) return;
  event.detail.shouldSwap = false;
  say("signed-out");
});
document.addEventListener("htmx:sendError", () => say("connection"));
document.addEventListener("htmx:timeout", () => say("connection"));
document.addEventListener("htmx:responseError", () => say("answer"));

// A form sent the plain way: pressed twice by cold hands, it is sent once.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  begin();
  setTimeout(() => { delete form.dataset.sent; }, REPEAT);
});
window.addEventListener("pageshow", () => {
  running = 0;
  end();
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});
