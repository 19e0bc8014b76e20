// What this page's script says, in the viewer's language: the server wrote it beside the page.

export const words = JSON.parse(document.body.dataset.words);
