// The alarms of one lifter, each with a button that answers that one raising.

import { acknowledge } from "./act.js";
import { attribute, list, make, text } from "./dom.js";

export function alarmRows(place, one) {
  attribute(place, "data-count", one.alarms.length);
  list(place, one.alarms, (alarm) => alarm.raising, create, (row, alarm) => paint(row, alarm, one.lifter));
}

function create() {
  const row = make("li", "alarm");
  row.mark = make("span", "alarm-mark");
  row.words = make("span", "alarm-words");
  row.said = make("span", "alarm-said");
  row.button = make("button", "alarm-button");
  row.button.type = "button";
  row.button.addEventListener("click", () => acknowledge(row.lifter, row.dataset.key));
  row.append(row.mark, make("span", "alarm-says", row.words, " ", row.said), row.button);
  return row;
}

function paint(row, alarm, lifter) {
  row.lifter = lifter;
  attribute(row, "data-priority", alarm.priority);
  attribute(row, "data-open", alarm.open ? "yes" : "no");
  text(row.words, alarm.words);
  attribute(row.words, "data-say", alarm.do);
  attribute(row.words, "tabindex", 0);
  text(row.said, `${alarm.since}, ${alarm.said}`);
  text(row.button, alarm.acknowledge);
  row.button.hidden = !alarm.open;
}
