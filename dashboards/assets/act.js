// What a person here does: sent to the server, answered after it is on disk, refused while the page has lost touch.

import { byId, make, text } from "./dom.js";
import { isLive } from "./live.js";

const WHO = "holdwatch.who";
const ROLES = { operator: "Crane operator", landing: "Landing crew", supervisor: "Lift supervisor" };

export async function acknowledge(lifter, raising) {
  if (!isLive()) return;
  const who = await whoIsIt();
  if (who && isLive()) await act({ kind: "acknowledge", lifter, ...who, params: { raising } });
}

async function act(action) {
  say("Sending");
  try {
    const reply = await fetch("/api/actions", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(action),
      signal: AbortSignal.timeout(6000),
    });
    const answer = await reply.json();
    say(answer.words);
  } catch {
    say("Not done: no answer. Try again, or tell the supervisor.");
  }
}

function say(words) {
  const place = byId("answer");
  text(place, words);
  place.hidden = !words;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => (place.hidden = true), 8000);
}

// Asked once on each device: who stands here, and as what.
function whoIsIt() {
  const kept = JSON.parse(localStorage.getItem(WHO) ?? "null");
  if (kept) return Promise.resolve(kept);
  const name = make("input");
  name.maxLength = 40;
  name.required = true;
  name.autocomplete = "off";
  const role = make("select");
  for (const [value, words] of Object.entries(ROLES)) role.append(new Option(words, value));
  const done = make("button", "", "Acknowledge");
  const cancel = make("button", "", "Not now");
  cancel.value = "cancel";
  cancel.formNoValidate = true;
  const form = make("form", "", make("p", "", "Who acknowledges? It is written into the lift's record."), make("label", "", "Name or initials", name), make("label", "", "Role", role), make("div", "dialog-buttons", done, cancel));
  form.method = "dialog";
  const dialog = make("dialog", "", form);
  document.body.append(dialog);
  dialog.showModal();
  return new Promise((answer) => {
    dialog.addEventListener("close", () => {
      dialog.remove();
      const who = name.value.trim();
      if (dialog.returnValue === "cancel" || !who) return answer(null);
      const said = { who, role: role.value };
      localStorage.setItem(WHO, JSON.stringify(said));
      answer(said);
    });
  });
}
