// What this tab remembers of forms, and the notice that says so. Shared by the forms sent whole and those saved box by box.

const MARK = "typed:";

export const keyFor = (name) => MARK + name;
export const drafts = () => Object.keys(sessionStorage).filter((key) => key.startsWith(MARK));
export const forget = (key) => sessionStorage.removeItem(key);

export function read(key) {
  try {
    return JSON.parse(sessionStorage.getItem(key));
  } catch {
    return null;
  }
}

export function write(key, draft) {
  try {
    sessionStorage.setItem(key, JSON.stringify(draft));
  } catch {
    // A full store must not stop anybody from typing.
  }
}

export function notice(form, discard) {
  const note = document.getElementById("kept")?.content.firstElementChild.cloneNode(true);
  if (!note) return;
  note.dataset.kept = "";
  note.querySelector("button").addEventListener("click", () => {
    discard();
    note.remove();
  });
  form.prepend(note);
}
