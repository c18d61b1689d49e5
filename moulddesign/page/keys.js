// Undo and redo by keys, where no text is being typed: a text field has an undo of its own.
document.addEventListener("keydown", (event) => {
  const typing = event.target.closest?.("input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea");
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  const key = event.key.toLowerCase();
  const button = key === "y" || (key === "z" && event.shiftKey) ? "redo" : key === "z" ? "undo" : "";
  if (!button) return;
  event.preventDefault();
  document.getElementById(button)?.click();
});
