// Hands over the secret of the address, once, and takes it out of the address.
const state = document.getElementById("state");
const code = document.getElementById("code");

function show(text, digits) {
  state.textContent = text;
  code.textContent = digits ?? "";
  code.hidden = !digits;
}

async function post(path, what) {
  return fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(what),
  });
}

async function come(answer) {
  if (answer.status === 200) {
    const { code: digits, page } = await answer.json();
    sessionStorage.setItem("code", digits);
    location.replace(page);
    return;
  }
  if (answer.status === 202) {
    const { code: digits, ticket } = await answer.json();
    show("Another phone is in use. Its page asks whether to let this one take its place, by this code:", digits);
    setTimeout(() => ask(() => post("pair/again", { ticket })), 1500);
    return;
  }
  show(await answer.text());
}

async function ask(what) {
  try {
    await come(await what());
  } catch {
    show("The bench is not reached. Is this phone on the same network? Then read the code again.");
  }
}

const secret = location.hash.slice(1);
history.replaceState(null, "", "/");
if (secret) {
  ask(() => post("pair", { secret }));
} else {
  show("Read the code that the bench shows with this phone's camera.");
}
