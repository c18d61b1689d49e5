// Send a file, and tell its new name or in a sentence what is wrong, also where no answer comes.
window.uploaded = async (kind, file) => {
  try {
    return await (await fetch(`/upload/${kind}`, { method: "POST", body: file })).json();
  } catch {
    return { error: "The file did not arrive: it is too large, or the page's program has ended." };
  }
};
