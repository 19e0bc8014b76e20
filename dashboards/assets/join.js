// The code by which a phone joins: shown over the screen on a tap, gone with the next.

import { byId, make } from "./dom.js";
import { words } from "./words.js";

export function joinButton(button) {
  button.addEventListener("click", show);
}

async function show() {
  const dialog = make("dialog", "join");
  const close = make("button", "", words["join.close"]);
  close.type = "button";
  close.addEventListener("click", () => dialog.close());
  dialog.addEventListener("close", () => dialog.remove());
  const place = make("div", "join-place");
  dialog.append(place, close);
  document.body.append(dialog);
  dialog.showModal();
  try {
    const lifter = byId("screen").dataset.lifter ?? "";
    const reply = await fetch(`/api/join?${new URLSearchParams({ lifter })}`, { signal: AbortSignal.timeout(6000) });
    const said = await reply.json();
    if (said.why) return place.append(make("p", "", said.why));
    const code = make("img");
    code.src = said.picture;
    code.alt = said.url;
    const address = make("a", "", said.url);
    address.href = said.url;
    place.append(make("p", "join-words", said.words), code, make("p", "join-url", address), make("p", "", said.secure), make("p", "", words["awake.locked"]));
  } catch {
    place.append(make("p", "", words["act.no_answer"]));
  }
}
