// Sends the code and the name, and says what came of it.
"use strict";

const form = document.getElementById("pair");
const said = document.getElementById("said");
const send = document.getElementById("send");
// The bench that was asked for before the device was paired: an address of our own, or none.
const asked = location.hash.slice(1);
const next = /^\/bench\/[A-Za-z0-9._-]+$/.test(asked) ? asked : "/";

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  said.textContent = "";
  send.disabled = true;
  try {
    const answer = await fetch("/v1/pair/enter", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ code: form.code.value, name: form.elements.name.value }),
    });
    if (answer.ok) {
      location.replace(next);
      return;
    }
    const refusal = await answer.json();
    said.textContent = `${refusal.happened} ${refusal.means} ${refusal.mend}`;
  } catch {
    said.textContent = "The bench does not answer. The device is not paired. Try again.";
  }
  send.disabled = false;
  form.code.focus();
});

form.code.focus();

// A browser that follows a link of another site leaves the cookie out (SameSite=Strict), so one that
// is paired can be sent here too; what this page asks for carries it.
fetch("/v1/page").then(
  (answer) => answer.ok && location.replace(next),
  () => {},
);
