// The box that finds things: arrows go through what was found, Escape puts it away and keeps what was typed.

const box = document.getElementById("seek");
const found = document.getElementById("found");
const form = box.form;

const links = () => [...found.querySelectorAll("a")];

function go(step) {
  const all = [box, ...links()];
  const next = all.indexOf(document.activeElement) + step;
  all[(next + all.length) % all.length].focus();
}

form.addEventListener("keydown", (event) => {
  if (event.isComposing || event.altKey || event.ctrlKey || event.metaKey) return;
  if (event.key === "Escape" && found.childElementCount) {
    found.replaceChildren();
    box.focus();
  } else if (event.key === "ArrowDown" && links().length) go(1);
  else if (event.key === "ArrowUp" && links().length) go(-1);
  else return;
  event.preventDefault();
});
