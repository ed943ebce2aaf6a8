// The instructor's page: shows every learner's session, and lets one be heard. It changes nothing of them.

const at = (id) => document.getElementById(id);
let news;

function trouble(text) {
  if (at("trouble").textContent !== text) {
    at("trouble").textContent = text;
  }
}

function text(within, what, shown) {
  const element = within.querySelector(what);
  if (element.textContent !== shown) {
    element.textContent = shown;
  }
}

function list(within, what, lines, none) {
  const shown = lines.length ? lines : [none];
  const element = within.querySelector(what);
  if ([...element.children].map((item) => item.textContent).join("\n") === shown.join("\n")) {
    return;
  }
  element.replaceChildren(
    ...shown.map((line) => {
      const item = document.createElement("li");
      item.textContent = line;
      return item;
    }),
  );
}

function stateOf(learner) {
  if (learner.ended) {
    return "ended";
  }
  if (!learner.paired) {
    return "no phone";
  }
  return learner.level === null ? "paired, no sound" : "paired, heard";
}

function showLearner(learner, n) {
  const within = at(`learner-${n}`);
  text(within, ".job", `${learner.job}${learner.practice ? " (practice)" : ""}`);
  text(within, ".state", stateOf(learner));
  text(within, ".place", learner.place);
  text(within, ".asked", [learner.mode, learner.asked].filter(Boolean).join(". "));
  text(within, ".last", learner.last ? `Last: ${learner.last[0]}: ${learner.last[1]}` : "");
  // What a session that is taken up has out is not known before it goes on.
  list(within, ".out", learner.out ?? [], learner.out === null ? "not known yet" : "nothing is out");
  text(within, ".neighbours", learner.neighbours ? `Neighbours kept out: ${learner.neighbours}` : "");
  list(within, ".refused", learner.refused, "nothing was refused");
  within.querySelector(".level").value = Math.max(-60, learner.level ?? -60);
}

async function follow() {
  let change = 0;
  for (;;) {
    try {
      const answer = await fetch(`watch/news?after=${change}`, { signal: AbortSignal.timeout(12000) });
      if (answer.status === 401) {
        trouble(await answer.text());
        return;
      }
      news = await answer.json();
      ({ change } = news);
      trouble("");
      news.learners.forEach(showLearner);
      at("let-in").hidden = news.asked_by === null;
      at("let-in").textContent =
        news.asked_by === null ? "" : `Let the page in that shows ${news.asked_by}; this one is closed`;
      if (news.learners.every((learner) => learner.ended)) {
        at("room").hidden = true;
        at("over").hidden = false;
        return;
      }
      // A room changes all the time; twice a second is enough for eyes.
      await new Promise((done) => setTimeout(done, 500));
    } catch {
      trouble("The bench is not reached. Is this machine on its network?");
      await new Promise((done) => setTimeout(done, 1000));
    }
  }
}

// One learner at a time is listened to.
let listening = null;

async function listen(n) {
  const run = {};
  listening = run;
  at("silence").hidden = false;
  const context = new AudioContext();
  await context.resume();
  let after = 0;
  let ends = 0;
  while (listening === run) {
    try {
      const answer = await fetch(`watch/${n}/sound?after=${after}`, { signal: AbortSignal.timeout(4000) });
      if (!answer.ok) {
        throw new Error(await answer.text());
      }
      after = Number(answer.headers.get("bothhands-next"));
      const samples = Float32Array.from(new Int16Array(await answer.arrayBuffer()), (sample) => sample / 32768);
      if (samples.length) {
        const buffer = context.createBuffer(1, samples.length, 16000);
        buffer.copyToChannel(samples, 0);
        const source = context.createBufferSource();
        source.buffer = buffer;
        source.connect(context.destination);
        // A little behind, so that one piece joins the next.
        ends = Math.max(ends, context.currentTime + 0.25);
        source.start(ends);
        ends += buffer.duration;
      }
    } catch (why) {
      trouble(`It can't be heard: ${why.message}`);
    }
    await new Promise((done) => setTimeout(done, 200));
  }
  await context.close();
}

document.querySelectorAll(".learner").forEach((learner, n) => {
  learner.querySelector(".listen").addEventListener("click", () => listen(n));
  const details = learner.querySelector("details");
  details.addEventListener("toggle", () => {
    const picture = details.querySelector("img");
    picture.hidden = !details.open;
    if (details.open) {
      picture.src = `watch/${n}/code.svg?${Date.now()}`;
    }
  });
});
at("silence").addEventListener("click", () => {
  listening = null;
  at("silence").hidden = true;
});
at("let-in").addEventListener("click", () => {
  fetch("watch/let-in", {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify({ code: news.asked_by }),
  }).catch((why) => trouble(why.message));
});
follow();
