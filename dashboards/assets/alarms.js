// The alarms page: sends what supervisor and maintenance do with an alarm, and shows the page anew once it is done.

import { asPerson } from "./act.js";
import "./look.js";

const SHOWN_MS = 1500;

function paramsOf(kind, form) {
  const { raising, alarm, about } = form.dataset;
  const said = new FormData(form);
  if (kind === "shelve") return { raising, duration_s: 60 * Number(said.get("minutes")), reason: said.get("reason") };
  if (kind === "out_of_service") return { alarm, about, reason: said.get("reason") };
  return kind === "in_service" ? { alarm, about } : { raising };
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.classList.contains("aside")) return;
  event.preventDefault();
  const kind = event.submitter.value;
  const answer = await asPerson("/api/actions", { kind, lifter: form.dataset.lifter, params: paramsOf(kind, form) });
  if (answer?.done) setTimeout(() => location.reload(), SHOWN_MS);
});
