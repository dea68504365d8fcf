// Searching for an earlier bike while a restoration is begun: Enter searches, and who chooses a bike wants its parts.

const words = document.getElementById("earlier-words");
const found = document.getElementById("earlier-found");
words?.addEventListener("keydown", (event) => {
  if (event.key === "Enter") event.preventDefault();
});
found?.addEventListener("change", ({ target }) => {
  const source = found.closest("form").querySelector("input[name=parts_from][value=earlier]");
  if (target.checked && source) source.checked = true;
});
