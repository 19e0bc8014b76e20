// The alarms of one lifter: one line a cause, each alarm with a button that answers that one raising. What is folded under a
// line opens by a tap and stays open.

import { acknowledge } from "./act.js";
import { attribute, list, make, text } from "./dom.js";

export function alarmRows(place, one) {
  attribute(place, "data-count", one.alarms.length);
  list(place, one.alarms, (alarm) => alarm.raising, createLine, (row, alarm) => paintLine(row, alarm, one.lifter));
}

function create() {
  const row = make("li", "alarm");
  row.mark = make("span", "alarm-mark");
  row.words = make("span", "alarm-words");
  row.said = make("span", "alarm-said");
  row.button = make("button", "alarm-button");
  row.button.type = "button";
  row.button.addEventListener("click", () => acknowledge(row.lifter, row.dataset.key));
  row.says = make("span", "alarm-says", row.words, " ", row.said);
  row.append(row.mark, row.says, row.button);
  return row;
}

function createLine() {
  const row = create();
  row.more = make("summary");
  row.list = make("ul");
  row.under = make("details", "alarm-under", row.more, row.list);
  row.says.append(row.under);
  return row;
}

function paintLine(row, alarm, lifter) {
  paint(row, alarm, lifter);
  row.under.hidden = alarm.under.length === 0;
  attribute(row, "data-flood", alarm.flood ? "yes" : null);
  text(row.more, alarm.more);
  list(row.list, alarm.under, (one) => one.raising, create, (one, said) => paint(one, said, lifter));
}

function paint(row, alarm, lifter) {
  row.lifter = lifter;
  attribute(row, "data-priority", alarm.priority);
  attribute(row, "data-open", alarm.open ? "yes" : "no");
  attribute(row, "data-stands", alarm.stands ? "yes" : "no");
  text(row.words, alarm.words);
  attribute(row.words, "data-say", alarm.do);
  attribute(row.words, "tabindex", 0);
  text(row.said, `${alarm.since}, ${alarm.said}`);
  text(row.button, alarm.acknowledge);
  row.button.hidden = !alarm.waits;
}
