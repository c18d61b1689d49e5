// Take back and make again by keys, where no text is being typed: a field has its own.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea");
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  const key = event.key.toLowerCase();
  const name = key === "y" || (key === "z" && event.shiftKey) ? "forth" : key === "z" ? "back" : "";
  if (!name) return;
  event.preventDefault();
  document.getElementById(name)?.click();
});
