// Touch sleeps until a finger slides across the whole width, and sleeps again after ten seconds. In a
// pocket it does not wake.

const AWAKE = 10000;
const HOLD = 700;
// Where a slide begins and ends, and the most that a finger moves from one moment to the next, in percent.
const BEGINS = 15;
const ENDS = 95;
const JUMP = 35;

export class Touch {
  constructor(onHold) {
    this.slide = document.getElementById("wake");
    this.panel = document.getElementById("awake");
    this.inPocket = false;
    this.fingers = 0;
    this.last = 0;
    this.slide.addEventListener("input", () => this.slid());
    for (const kind of ["pointerup", "pointercancel", "touchend", "blur"]) {
      this.slide.addEventListener(kind, () => this.sleepSlide());
    }
    for (const kind of ["touchstart", "touchend", "touchcancel"]) {
      document.addEventListener(kind, ({ touches }) => this.touched(touches.length), { passive: true });
    }
    this.panel.addEventListener("pointerdown", () => this.stayAwake());
    globalThis.addEventListener("deviceorientation", ({ beta }) => {
      // Upside down or on its face: nobody looks at it.
      this.inPocket = beta !== null && (beta < -30 || beta > 150);
    });
    const { ProximitySensor } = globalThis;
    if (ProximitySensor) {
      try {
        const sensor = new ProximitySensor({ frequency: 2 });
        sensor.addEventListener("reading", () => {
          this.covered = sensor.near === true;
        });
        sensor.start();
      } catch {
        // Not allowed: without it.
      }
    }
    this.holds(document.getElementById("affirm"), () => onHold("affirm"));
    this.holds(document.getElementById("let-in"), () => onHold("let-in"));
  }

  touched(fingers) {
    this.fingers = fingers;
    if (fingers >= 3) {
      this.sleep();
    }
  }

  slid() {
    const at = this.slide.valueAsNumber;
    // A finger that lands on the way, or at the far end, has not slid there.
    if (at - this.last > (this.last === 0 ? BEGINS : JUMP)) {
      this.sleepSlide();
      return;
    }
    this.last = at;
    if (at >= ENDS) {
      this.sleepSlide();
      if (!this.inPocket && !this.covered && this.fingers < 3) {
        this.wake();
      }
    }
  }

  sleepSlide() {
    this.last = 0;
    this.slide.value = 0;
  }

  wake() {
    this.panel.hidden = false;
    this.stayAwake();
  }

  stayAwake() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.sleep(), AWAKE);
  }

  sleep() {
    clearTimeout(this.timer);
    this.panel.hidden = true;
    this.letGo?.();
  }

  // Calls `done` when the button was held for long enough.
  holds(button, done) {
    if (!button) {
      return;
    }
    let timer;
    const end = () => {
      clearTimeout(timer);
      button.classList.remove("held");
    };
    const begin = (event) => {
      if (event.type === "keydown" && (event.repeat || ![" ", "Enter"].includes(event.key))) {
        return;
      }
      end();
      if (this.fingers > 1) {
        return;
      }
      this.letGo = end;
      button.classList.add("held");
      const since = performance.now();
      this.heldFor = () => performance.now() - since;
      timer = setTimeout(() => {
        end();
        done();
      }, HOLD + 20);
    };
    button.addEventListener("pointerdown", begin);
    button.addEventListener("keydown", begin);
    for (const kind of ["pointerup", "pointerleave", "pointercancel", "keyup", "blur"]) {
      button.addEventListener(kind, end);
    }
    button.addEventListener("contextmenu", (event) => event.preventDefault());
  }
}
