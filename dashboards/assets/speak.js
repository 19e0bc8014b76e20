// Language and units: chosen on this device, kept in a cookie because the server says the words.

const KEPT_S = 365 * 24 * 3600;

document.addEventListener("click", (event) => {
  const { id, dataset } = event.target;
  if (id !== "language" && id !== "units") return;
  document.cookie = `holdwatch_${id}=${dataset.next}; path=/; max-age=${KEPT_S}; samesite=strict`;
  location.reload();
});
