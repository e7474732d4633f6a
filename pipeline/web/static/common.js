"use strict";
// What all pages share: messages, posts to this program, ids, and the small buttons of lists.

function say(text) { document.getElementById("say").textContent = text; }
function alarm(text) { document.getElementById("alarm").textContent = text; }

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
}

class Refusal extends Error {
  constructor(status, told) {
    super([told.message, told.hint].filter(Boolean).join(" "));
    this.status = status;
    this.code = told.code;
  }
}

// Where people sign in, writes carry the token that the page was given; here alone there is none.
let formToken = (document.querySelector("meta[name=form-token]") || {}).content || "";

async function answer(address, options) {
  const headers = { Accept: "application/json", ...(options || {}).headers };
  if (formToken) headers["X-Form-Token"] = formToken;
  const reply = await fetch(address, { ...options, headers });
  let told = {};
  try { told = await reply.json(); } catch { told = { message: "The program gave an unreadable answer." }; }
  return [reply, told];
}

// Answers the JSON of a reply; a Refusal for what the program says no to; TypeError when it cannot be reached.
async function ask(address, options) {
  let [reply, told] = await answer(address, options);
  if (reply.status === 403 && told.code === "form-token") {
    // Its person signed in anew in another window: the page stays as it is, with what was typed in it.
    const [fresh, given] = await answer("/form-token");
    if (fresh.ok) formToken = given.token;
    [reply, told] = await answer(address, options);
  }
  if (!reply.ok) throw new Refusal(reply.status, told);
  return told;
}

function post(address, body) {
  return ask(address, {
    method: "POST",
    headers: { Accept: "application/json", "Content-Type": "application/json" },
    body: JSON.stringify(body || {}),
  });
}

function tell(fault) {
  if (fault instanceof Refusal) alarm(fault.message);
  else alarm("The program cannot be reached. Look whether it still runs, then try again.");
}

// A second press within a few seconds, so that nothing is removed by a slip and nothing needs a dialog.
const sure = new WeakMap();
function twice(button, words) {
  if (sure.has(button)) return true;
  const before = button.textContent;
  button.textContent = words;
  sure.set(button, setTimeout(() => { sure.delete(button); button.textContent = before; }, 6000));
  return false;
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const data = button.dataset;
  try {
    if (data.again) {
      await post(`/jobs/${data.again}/again?hearing=${data.hearing || "careful"}`);
      location.reload();
    } else if (data.forget) {
      if (!twice(button, "Press once more to remove it for good")) return;
      await post(`/jobs/${data.forget}/forget`);
      location.assign("/");
    } else if (data.tick) {
      await post(`/due/${data.tick}?done=1`);
      location.reload();
    } else if (data.word) {
      await post("/words", { how: data.word, heard: data.heard, say: data.said });
      location.reload();
    } else if (data.planned) {
      await post(`/jobs/${data.planned}/planned`);
      location.reload();
    } else if (data.machine) {
      await post(`/jobs/${document.getElementById("work").dataset.job}/machine?${data.machine}`);
      location.reload();
    }
  } catch (fault) { tell(fault); }
});
