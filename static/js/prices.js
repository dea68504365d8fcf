// The prices of all other parts, after one was changed: they come as one list and are put where they belong. Swapping in
// hundreds of elements one by one takes longer than pricing the bike.

function put({ dataset }) {
  for (const [uid, price] of JSON.parse(dataset.prices)) {
    const place = document.getElementById(`price-${uid}`);
    if (place && place.textContent !== price) place.textContent = price;
  }
}

document.addEventListener("htmx:oobAfterSwap", () => {
  const list = document.getElementById("prices");
  if (list?.dataset.prices) put(list);
  list?.removeAttribute("data-prices");
});
