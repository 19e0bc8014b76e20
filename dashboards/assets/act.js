// What a person here does: sent to the server, answered after it is on disk, refused while the page has lost touch.

import { byId, text } from "./dom.js";
import { isLive } from "./live.js";
import { person } from "./who.js";
import { words } from "./words.js";

export async function acknowledge(lifter, raising) {
  if (!isLive()) return;
  try {
    const { who, role } = (await person()) ?? {};
    if (who && isLive()) await act({ kind: "acknowledge", lifter, who, role, params: { raising } });
  } catch {
    say(words["act.no_answer"]);
  }
}

async function act(action) {
  say(words["act.sending"]);
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
    say(words["act.no_answer"]);
  }
}

function say(answer) {
  const place = byId("answer");
  text(place, answer);
  place.hidden = !answer;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => (place.hidden = true), 8000);
}
