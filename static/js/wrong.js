// A page that came back with something wrong opens at the first box that is wrong, with the keyboard in it.

const wrong = [...document.querySelectorAll(".field-wrong")].find((one) => !one.closest("[hidden]"));
const place = wrong ?? document.querySelector("form .notice-bad[role=alert]");

if (place && !document.querySelector("[autofocus], [data-exhibit]")) {
  for (let one = place.closest("details"); one; one = one.parentElement.closest("details")) one.open = true;
  const box = wrong?.querySelector("input:not([type=hidden]), select, textarea");
  box?.focus({ preventScroll: true });
  place.scrollIntoView({ block: "center" });
}
