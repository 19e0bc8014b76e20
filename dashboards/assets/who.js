// Who stands at this device: signed in with the role's PIN where the site has set PINs, else named once and remembered.

import { make, text } from "./dom.js";
import { words } from "./words.js";

const WHO = "holdwatch.who";
const ROLES = ["operator", "landing", "supervisor", "maintenance"];

// {who, role}, or null when the person turned away.
export async function person() {
  const me = await (await fetch("/api/me", { signal: AbortSignal.timeout(6000) })).json();
  if (me.who) return me;
  if (me.needs_pin) return asked({ withPin: true });
  const kept = JSON.parse(localStorage.getItem(WHO) ?? "null");
  if (kept) return kept;
  const said = await asked({ withPin: false });
  if (said) localStorage.setItem(WHO, JSON.stringify(said));
  return said;
}

function asked({ withPin }) {
  const name = make("input");
  name.maxLength = 40;
  name.required = true;
  name.autocomplete = "off";
  const role = make("select");
  for (const value of ROLES) role.append(new Option(words[`who.${value}`], value));
  const pin = make("input");
  pin.type = "password";
  pin.inputMode = "numeric";
  pin.autocomplete = "off";
  pin.required = true;
  pin.maxLength = 64;
  const wrong = make("p", "dialog-wrong");
  wrong.setAttribute("role", "alert");
  const done = make("button", "", words[withPin ? "who.sign_in" : "who.continue"]);
  const cancel = make("button", "", words["who.not_now"]);
  cancel.type = "button";
  const form = make("form", "",
    make("p", "", words["who.asked"]),
    make("label", "", words["who.name"], name), make("label", "", words["who.role"], role),
    ...(withPin ? [make("label", "", words["who.pin"], pin)] : []),
    wrong, make("div", "dialog-buttons", done, cancel));
  const dialog = make("dialog", "", form);
  document.body.append(dialog);
  dialog.showModal();
  return new Promise((answer) => {
    let said = null;
    dialog.addEventListener("close", () => {
      dialog.remove();
      answer(said);
    });
    cancel.addEventListener("click", () => dialog.close());
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const named = { who: name.value.trim(), role: role.value };
      if (!named.who) return;
      const refused = withPin ? await signIn({ ...named, pin: pin.value }) : "";
      text(wrong, refused);
      if (refused) return pin.select();
      said = named;
      dialog.close();
    });
  });
}

// "" when signed in, else the words of why not.
async function signIn(named) {
  try {
    const reply = await fetch("/api/sign-in", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(named),
      signal: AbortSignal.timeout(10000),
    });
    const answer = await reply.json();
    return answer.done ? "" : answer.words;
  } catch {
    return words["act.no_answer"];
  }
}
