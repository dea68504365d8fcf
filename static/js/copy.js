// A button beside something to be copied; without a clipboard the text is there to be selected.

for (const button of document.querySelectorAll("[data-copy]")) {
  const box = document.getElementById(button.dataset.copy);
  const said = button.parentElement.querySelector("[data-copy-said]");
  if (!box || !navigator.clipboard) continue;
  button.hidden = false;
  button.addEventListener("click", async () => {
    try {
      await navigator.clipboard.writeText(box.value);
      if (said) said.textContent = said.dataset.copySaid;
    } catch {
      box.select();
    }
  });
}
for (const box of document.querySelectorAll("[data-copied]")) box.addEventListener("focus", () => box.select());
