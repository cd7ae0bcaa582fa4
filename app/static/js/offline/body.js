// What was tapped and typed at the motor, as the body that the server's door takes: the same reading of the same form
// as app/web/entry_form.py. The server reads it once more; here it is read so that nothing waits that it would refuse.
import { understood } from "../understood.js";
import { instant, isTime } from "./times.js";

const ENDS = ["DE", "ODE"], RUNNING = "running", STANDBY = "standby", NOTHING = "nothing wrong";
const MM_S_RMS_PER_IN_S_PEAK = 25.4 / Math.sqrt(2);
const RUNNING_ONLY = ["vibration_both", "vibration_feel_DE", "vibration_feel_ODE", "vibration_DE", "vibration_ODE",
  "bearing_feel_DE", "bearing_feel_ODE", "bearing_temp_DE", "bearing_temp_ODE", "method", "winding_feel",
  "winding_temp", "winding_method", "amps_1", "amps_2", "amps_3", "amps_unread", "volts_1", "volts_2", "volts_3"];
const IN_SERVICE_ONLY = ["lubricant_both", "lubricant_DE", "lubricant_ODE", "cleanliness"];
const FIGURES = { bearing_temp_DE: "bearing_temp_c", bearing_temp_ODE: "bearing_temp_c", winding_temp: "winding_temp_c",
  amps_1: "current_a", amps_2: "current_a", amps_3: "current_a", volts_1: "voltage_v", volts_2: "voltage_v",
  volts_3: "voltage_v", vibration_DE: "vibration_mm_s", vibration_ODE: "vibration_mm_s", ambient: "ambient_c" };
const LONGEST_TEXT = 2000, LONGEST_TYPED = 12;

const SAYS = {
  "more than one comma or point": (t) => `“${t}” has more than one comma or point. Enter it with one, such as 1234.5.`,
  "not a number": (t) => `“${t}” is not a number. Enter digits with one comma or point, such as 24.8.`,
  "can be read two ways": (t) => `“${t}” can be read two ways. Enter ${t.replace(/[.,]/g, "")} or ${
    t.replace(",", ".")}0 to say which is meant.`,
  "too long for a number": () => `Enter a number of at most ${LONGEST_TYPED} characters.`,
};

export function cleanText(text) {
  const plain = text.replace(/\r\n?/g, "\n").normalize("NFC");
  // eslint-disable-next-line no-control-regex
  return plain.replace(/[\u0000-\u0008\u000b-\u001f\u007f-\u009f]/g, "").replace(/\p{Surrogate}/gu, "").trim();
}

class Form {
  constructor(data, about) {
    this.data = data; // FormData
    this.about = about; // { ranges: { kind: [low, high, unit] }, motor, by, zone }
    this.problems = [];
    this.numbers = {};
    this.confirmed = {};
  }
  get(name) { return (this.data.get(name) ?? "").toString(); }
  list(name) { return this.data.getAll(name).map(String); }
  wrong(field, says) { this.problems.push({ field, says }); }
  hidden() {
    const state = this.get("state");
    if (state === RUNNING) return [];
    return state === STANDBY ? RUNNING_ONLY : [...RUNNING_ONLY, ...IN_SERVICE_ONLY];
  }
  said(name) { return (this.left.includes(name) ? "" : this.get(name)) || null; }

  readFigures() {
    for (const [name, kind] of Object.entries(FIGURES)) {
      const typed = this.get(name).trim();
      if (!typed) continue;
      const [low, high, unit] = this.about.ranges[kind], read = understood(typed);
      const said = typed.replace("\u2212", "-");
      if (read.says) this.wrong(name, SAYS[read.says](said));
      else if (!(read.value >= low && read.value <= high)) {
        this.wrong(name, `${said} ${unit} cannot be: enter a value from ${plain(low)} to ${plain(high)} ${unit}.`);
      } else this.numbers[name] = { value: read.value, unit, typed, ...this.meant(name, typed, unit) };
    }
  }
  // The answer to the question whether a figure is meant, as app/web/entry_doubts.py words it.
  meant(name, typed, unit) {
    const [given, offered] = this.get(`sure_${name}`).split(" as ");
    if (offered && given === `kept ${typed}`) this.confirmed[name] = `${typed} ${unit}, asked: ${offered}?`;
    if (!offered || given !== `meant ${typed}`) return {};
    const [figure, ...other] = offered.split(" ");
    const says = other.length ? `${typed} ${other.join(" ")}` : `${typed}, meant ${plain(Number(figure))} ${unit}`;
    return { value: Number(figure), says };
  }
  asked() {
    return Object.fromEntries(Object.entries(this.confirmed).map(([name, words]) => [
      `${FIGURES[name]}${name.replace(/^.*_(DE|ODE|\d)$|^.*$/, (_, part) => (part ? `.${part}` : ""))}`, words]));
  }
  si(name) {
    const number = this.numbers[name];
    if (!number) return null;
    if (number.unit === "°F") return (number.value - 32) / 1.8;
    if (number.unit === "in/s peak") return number.value * MM_S_RMS_PER_IN_S_PEAK;
    return number.value;
  }
  typed() {
    const kept = {};
    for (const [name, { unit, typed, says }] of Object.entries(this.numbers)) {
      if (says) kept[name] = says;
      else if (unit === "°F" || unit === "in/s peak" || typed.includes(",")) kept[name] = `${typed} ${unit}`;
    }
    return kept;
  }
  ends(name, both, fine) {
    if (this.said(both) === fine) return { DE: fine, ODE: fine };
    return byEnd((end) => this.said(`${name}_${end}`));
  }
  phases(name) { return [1, 2, 3].map((i) => this.si(`${name}_${i}`)).filter((value) => value !== null); }
  looked() {
    const chosen = this.list("look");
    if (!chosen.length) return {};
    const place = (thing) => ["missing", "loose"].find((word) => chosen.includes(`${thing} ${word}`)) ?? "in place";
    return { smoke: chosen.includes("smoke") ? "seen" : "none", guard: place("guard"), ground: place("ground"),
      leak: chosen.includes("leak") ? "seen" : "none" };
  }

  // does it agree with itself, as the server asks --------------------------------------------------------------
  agree() {
    const state = this.get("state"), chosen = this.list("look");
    if (!state) this.wrong("state", "Choose the state you found it in.");
    if (chosen.includes(NOTHING) && chosen.length > 1) {
      this.wrong("look", "You chose “nothing wrong” and something wrong. Take one of them back.");
    } else {
      const thing = ["guard", "ground"].find((t) => chosen.includes(`${t} missing`) && chosen.includes(`${t} loose`));
      if (thing) this.wrong("look", `The ${thing} cannot be both missing and loose. Choose one.`);
    }
    for (const name of Object.keys(FIGURES).filter((n) => state && this.left.includes(n) && this.get(n).trim())) {
      this.wrong(name, `A motor ${state} is not asked for this. Empty it, or choose another state.`);
    }
    this.bothAgree("vibration_both", "vibration_feel", "as usual");
    this.bothAgree("lubricant_both", "lubricant", "ok");
    this.phasesAgree();
    const seen = this.get("seen_at").trim();
    if (seen && !isTime(seen)) this.wrong("seen_at", `“${seen}” is not a time such as 07:12.`);
    if (cleanText(this.get("remarks")).length > LONGEST_TEXT) this.wrong("remarks", "Keep remarks to 2,000 characters.");
  }
  bothAgree(both, name, fine) {
    const chosen = this.said(both), ends = ENDS.map((end) => this.said(`${name}_${end}`));
    if (chosen === fine && ends.some((word) => word && word !== fine)) {
      this.wrong(both, `You chose “${fine}” for both ends, and something else at one end. Take one of them back.`);
    } else if (chosen === "not" && !ends.some(Boolean)) this.wrong(both, "Say at which end, and what is not right.");
    else if (chosen === "not" && ends.every((word) => word === fine)) {
      this.wrong(both, `You chose that it is not, and “${fine}” at both ends. Take one of them back.`);
    }
  }
  phasesAgree() {
    if (this.get("state") && this.left.includes("amps_1")) return;
    const filled = (name) => [1, 2, 3].map((i) => Boolean(this.get(`${name}_${i}`).trim()));
    const amps = filled("amps"), volts = filled("volts"), reasons = this.list("amps_unread");
    if (amps.some(Boolean) && reasons.length) {
      this.wrong("amps_unread", `There is a value and “${reasons[0]}”. Take one of them back.`);
    } else if (reasons.length > 1) this.wrong("amps_unread", "Could not read, or not fitted? Take one of them back.");
    else if (amps[1] !== amps[2] || (amps[1] && !amps[0])) this.wrong("amps_1", "Enter one phase, or all three.");
    const shape = volts.map(Number).join("");
    if (!["000", "100", "111"].includes(shape)) this.wrong("volts_1", "Enter one voltage, or all three.");
  }
}

const plain = (value) => String(Number(value.toPrecision(6)));
const byEnd = (of) => ({ DE: of("DE"), ODE: of("ODE") });

// A field left blank was not looked at: it is not sent at all.
function withoutEmpty(body) {
  const kept = {};
  for (const [name, value] of Object.entries(body)) {
    const inside = value && typeof value === "object" && !Array.isArray(value)
      ? Object.fromEntries(Object.entries(value).filter(([, v]) => v !== null)) : value;
    const empty = inside === null || inside === undefined || inside === ""
      || (typeof inside === "object" && !Array.isArray(inside) && !Object.keys(inside).length);
    if (!empty) kept[name] = inside;
  }
  return kept;
}

// { body, typed, problems }: a reading as it was entered. Nothing may be sent where there is a problem.
export function readingBody(data, about, id, now) {
  const form = new Form(data, about);
  form.left = form.hidden();
  form.readFigures();
  form.agree();
  const seen = form.get("seen_at").trim(), amps = form.phases("amps"), volts = form.phases("volts");
  const unread = form.left.includes("amps_unread") ? [] : form.list("amps_unread");
  const body = {
    id, tag: about.motor.tag, by: about.by, state: form.get("state"),
    taken_at: new Date(seen && isTime(seen) ? instant(seen, about.zone, now) : now).toISOString(),
    winding_feel: form.said("winding_feel"), winding_method: form.said("winding_method"), method: form.said("method"),
    cleanliness: form.said("cleanliness"), remarks: cleanText(form.get("remarks")), entered_later: Boolean(seen),
    winding_temp_c: form.si("winding_temp"), ambient_c: form.si("ambient"), ...form.looked(),
    vibration_feel: form.ends("vibration_feel", "vibration_both", "as usual"),
    bearing_feel: byEnd((end) => form.said(`bearing_feel_${end}`)),
    lubricant: form.ends("lubricant", "lubricant_both", "ok"),
    bearing_temp_c: byEnd((end) => form.si(`bearing_temp_${end}`)),
    vibration_mm_s: byEnd((end) => form.si(`vibration_${end}`)),
    current_a: amps.length ? amps : unread[0] ?? null, voltage_v: volts.length ? volts : null,
    confirmed: form.asked(),
  };
  return { body: withoutEmpty(body), typed: form.typed(), problems: form.problems };
}
