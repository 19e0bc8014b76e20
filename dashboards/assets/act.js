// What a person here does: sent to the server, answered after it is on disk, refused while the page has lost touch.

import { byId, text } from "./dom.js";
import { isLive } from "./live.js";
import { person } from "./who.js";
import { words } from "./words.js";

export const acknowledge = (lifter, raising) => act({ kind: "acknowledge", lifter, params: { raising } });

// Do something on a live page as the person who stands here.
export async function act(action) {
  if (isLive()) await asPerson("/api/actions", action, isLive);
}

// Send something as the person who stands here, and tell what came of it; null when nothing did.
export async function asPerson(address, body, mayStill = () => true) {
  try {
    const { who, role } = (await person()) ?? {};
    if (!who || !mayStill()) return null;
    tell(words["act.sending"]);
    const answer = await post(address, { ...body, who, role });
    tell(answer.words ?? words["act.no_answer"]);
    return answer;
  } catch {
    tell(words["act.no_answer"]);
    return null;
  }
}

export async function post(address, body, withinMs = 6000) {
  const reply = await fetch(address, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify(body),
    signal: AbortSignal.timeout(withinMs),
  });
  return reply.json();
}

function tell(answer) {
  const place = byId("answer");
  text(place, answer);
  place.hidden = !answer;
  clearTimeout(tell.timer);
  tell.timer = setTimeout(() => (place.hidden = true), 8000);
}
