// Small help for the pages of the floor; each works without it.

const IDLE = 60_000; // a tablet that nobody touches goes back to the names
const LATE = 70_000; // the wall asks every 20 seconds

// A page that comes back from the browser's memory would send the number of a tap that was sent already.
addEventListener("pageshow", (event) => {
  if (event.persisted) location.reload();
});

const back = document.body.dataset.back;
if (back) {
  let timer;
  const wait = () => {
    clearTimeout(timer);
    timer = setTimeout(() => location.assign(back), IDLE);
  };
  for (const kind of ["pointerdown", "keydown", "scroll"]) addEventListener(kind, wait, { passive: true });
  wait();
}

const stale = document.getElementById("stale");
if (stale) {
  let last = Date.now();
  document.body.addEventListener("htmx:afterOnLoad", () => {
    last = Date.now();
    stale.hidden = true;
  });
  for (const kind of ["htmx:sendError", "htmx:responseError"]) {
    document.body.addEventListener(kind, () => {
      stale.hidden = false;
    });
  }
  setInterval(() => {
    if (Date.now() - last > LATE) stale.hidden = false;
  }, 5_000);
}
