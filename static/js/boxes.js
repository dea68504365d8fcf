// The boxes of a form that saves box by box: what stands in each, and what was last seen there as stored.

const SEEN = "seen-";
const plain = (text) => text.replace(/\r\n?/g, "\n");

export const formsIn = (place) => [...place.querySelectorAll("form[data-saves]")];
export const isForm = (thing) => thing instanceof Element && thing.matches("form[data-saves]");

const read = (seen) => {
  const name = seen.name.slice(SEEN.length);
  const input = seen.form.elements.namedItem(name);
  const place = seen.closest(".box");
  return input && place ? { name, input, seen, place } : null;
};

export const boxes = (form) => [...form.querySelectorAll(`input[name^="${SEEN}"]`)].map(read).filter(Boolean);
export const boxAt = (place) => [...place.querySelectorAll(`input[name^="${SEEN}"]`)].map(read)[0] ?? null;
export const seenIn = (fragment) => fragment.querySelector(`input[name^="${SEEN}"]`)?.value;

export const unsaved = (box) => plain(box.input.value) !== plain(box.seen.value);
export const refused = (box) => Boolean(box.place.querySelector(".field-wrong"));
// Somebody else changed it too: only one of the two buttons in the box sends it again.
export const disputed = (box) => Boolean(box.place.querySelector("[name=settle]"));

export function mark(box, shown) {
  const words = box.place.querySelector(".unsaved");
  if (words) words.hidden = !shown;
  box.place.classList.toggle("box-unsaved", shown);
}
