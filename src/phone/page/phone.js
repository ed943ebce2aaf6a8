// The session's page: begins, shows what the bench tells, and keeps the phone awake.
import { Uplink, post } from "./sound.js";
import { Touch } from "./touch.js";
import { Downlink } from "./voice.js";

const at = (id) => document.getElementById(id);
const troubles = new Map();
let news;
let wants;

function trouble(about, text) {
  if (text === (troubles.get(about) ?? "")) {
    return;
  }
  troubles.set(about, text);
  const all = [...troubles.values()].filter(Boolean).join(" ");
  at("trouble").textContent = all;
  at("trouble-begin").textContent = all;
}

const down = new Downlink(trouble);
const up = new Uplink(
  () => down.speaks(),
  trouble,
  (decibels) => {
    at("level").value = Math.max(-60, decibels);
  },
);
const touch = new Touch(held);

function held(what) {
  const sent =
    what === "affirm"
      ? post("touch", { about: news.affirms, held_ms: Math.round(touch.heldFor()) })
      : post("let-in", { code: news.asked_by });
  sent.then(
    () => trouble("touch", ""),
    (why) => trouble("touch", why.message),
  );
}

function list(id, lines, none) {
  const shown = lines.length ? lines : none;
  at(id).replaceChildren(
    ...shown.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }),
  );
}

function text(id, what) {
  const element = at(id);
  if (element && element.textContent !== what) {
    element.textContent = what;
  }
}

function show() {
  text("place", news.place);
  text("asked", [news.mode, news.asked].filter(Boolean).join(". "));
  const [subject, value] = news.last ?? ["", ""];
  text("subject", subject);
  // A figure stays with its unit.
  text("value", value.replace(/(\d| at) /g, "$1\u00a0"));
  at("value").classList.toggle("long", value.length > 8);
  list("out", news.out, ["nothing is out"]);
  list("said", news.said, []);
  text("listening", news.listening ? "listening" : "not listening");
  text("overheard", news.overheard ? "Your instructor listens." : "");
  const affirm = at("affirm");
  if (affirm) {
    affirm.hidden = news.affirms === null;
  }
  at("let-in").hidden = news.asked_by === null;
  text("let-in", news.asked_by === null ? "" : `Hold to let the phone in that shows ${news.asked_by}`);
  if (wants.speaks) {
    down.want(news.say);
  }
  if (news.ended) {
    over();
  }
}

function over() {
  up.close();
  at("session").hidden = true;
  at("over").hidden = false;
}

async function follow() {
  let change = 0;
  for (;;) {
    try {
      const answer = await fetch(`news?after=${change}`, { signal: AbortSignal.timeout(12000) });
      if (answer.status === 401) {
        trouble("pairing", await answer.text());
        up.close();
        return;
      }
      news = await answer.json();
      ({ change } = news);
      ({ wants } = news);
      trouble("news", "");
      show();
      if (news.ended) {
        return;
      }
    } catch {
      trouble("news", "The bench is not reached. Is this phone on its network?");
      await new Promise((done) => setTimeout(done, 1000));
    }
  }
}

async function stayLit() {
  try {
    await navigator.wakeLock?.request("screen");
  } catch {
    // Low on power: the phone decides.
  }
}

// A page that is hidden hears nothing, and says so first when it is shown again.
function watchHiding() {
  let since;
  document.addEventListener("visibilitychange", async () => {
    if (document.visibilityState === "hidden") {
      since = Date.now();
      up.paused = true;
      return;
    }
    stayLit();
    up.context?.resume();
    while (up.paused) {
      try {
        await post("state", { hidden: Date.now() - since });
        up.paused = false;
      } catch {
        await new Promise((done) => setTimeout(done, 500));
      }
    }
  });
}

async function microphones() {
  const all = await navigator.mediaDevices.enumerateDevices();
  const select = at("microphone");
  select.replaceChildren(
    ...all
      .filter((device) => device.kind === "audioinput")
      .map((device) => {
        const name = device.label || "microphone";
        return new Option(name, device.deviceId, false, device.deviceId === up.id);
      }),
  );
  select.disabled = false;
}

async function begin() {
  const button = at("start");
  button.disabled = true;
  try {
    const through = document.querySelector("input[name=through]:checked")?.value;
    const speaker = through === "speaker";
    const context = new AudioContext();
    await context.resume();
    const hear = (id) => up.open(context, id, speaker);
    if (wants.hears) {
      await hear();
      await microphones();
      at("microphone").addEventListener("change", ({ target }) => {
        hear(target.value).then(
          () => trouble("microphone", ""),
          () => trouble("microphone", "That microphone can't be used. Choose another."),
        );
      });
    }
    down.open(context);
    await post("state", "ready");
    at("begin").hidden = true;
    at("session").hidden = false;
    watchHiding();
    await stayLit();
    trouble("begin", "");
  } catch (why) {
    button.disabled = false;
    const denied = why.name === "NotAllowedError" || why.name === "NotFoundError";
    trouble(
      "begin",
      denied
        ? "There is no microphone that this page may use. Allow it in the browser's settings for this address, and begin again."
        : `It could not begin: ${why.message}`,
    );
  }
}

at("look").addEventListener("click", () => {
  const dark = getComputedStyle(document.body).getPropertyValue("--dark").trim() === "1";
  document.documentElement.dataset.look = dark ? "bright" : "dark";
});
at("more").addEventListener("toggle", () => {
  const picture = at("another");
  picture.hidden = !at("more").open;
  if (at("more").open) {
    picture.src = `another.svg?${Date.now()}`;
  }
});
text("code", sessionStorage.getItem("code") ?? "");
at("start").addEventListener("click", begin);
globalThis.speechSynthesis?.getVoices();
follow();
