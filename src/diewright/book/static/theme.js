// Before the first paint: the theme the person chose last.
try {
  const chosen = localStorage.getItem("diewright-theme");
  if (chosen) document.documentElement.dataset.theme = chosen;
} catch {
  // no storage: the system's theme stands
}
