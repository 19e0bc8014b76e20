// What a person at the panel tells: picked up, fixed, wet. It goes into the lift's record under a name and commands nothing.

import { act } from "./act.js";
import { list, make, text } from "./dom.js";

export function paintTell(place, rows, one) {
  place.hidden = one.tell.length === 0;
  list(rows, one.tell, (said) => said.key, create, (row, said) => {
    row.action = { kind: said.kind, lifter: one.lifter, params: said.params };
    text(row.button, said.words);
  });

  function create() {
    const row = make("li");
    row.button = make("button", "wide");
    row.button.type = "button";
    row.button.addEventListener("click", () => {
      place.open = false;
      act(row.action);
    });
    row.append(row.button);
    return row;
  }
}
