// The demonstration's own panel: what is being played, and what to look at. Never part of the screen it stands beside.

import { attribute, byId, text } from "./dom.js";

export function paintStory(story) {
  byId("story").hidden = !story;
  for (const part of ["story-title", "story-line"]) attribute(byId(part), "lang", "en"); // scenarios are told in English alone
  text(byId("story-title"), story ? story.title : "");
  text(byId("story-line"), story ? story.line : "");
}
