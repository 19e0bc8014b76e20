// What a person here does: sent to the server, answered after it is on disk, refused while the page has lost touch.

import { byId, text } from "./dom.js";
import { isLive } from "./live.js";
import { person } from "./who.js";

const NO_ANSWER = "Not done: no answer. Try again, or tell the supervisor.";

export async function acknowledge(lifter, raising) {
  if (!isLive()) return;
  try {
    const { who, role } = (await person()) ?? {};
    if (who && isLive()) await act({ kind: "acknowledge", lifter, who, role, params: { raising } });
  } catch {
    say(NO_ANSWER);
  }
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
    say(NO_ANSWER);
  }
}

function say(words) {
  const place = byId("answer");
  text(place, words);
  place.hidden = !words;
  clearTimeout(say.timer);
  say.timer = setTimeout(() => (place.hidden = true), 8000);
}
