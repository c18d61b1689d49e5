// Send a file; return its new name, or in a sentence what is wrong, also where no answer comes.
window.uploadFile = async (kind, file) => {
  const language = document.documentElement.lang;
  try {
    return await (await fetch(`/upload/${kind}?in=${language}`, { method: "POST", body: file })).json();
  } catch {
    return { error: "upload_lost" }; // a key of the page's texts: the server has not said anything
  }
};
