// What was mounted when; and, with the token, changing it: start, stop, note.
import { tell, type Trial } from "../api";
import type { Column } from "../columns";
import { html, set_text } from "../dom";
import { value_of } from "../model";
import { strings } from "../strings";
import { seconds_of, time_text } from "../units";
import { table_behind } from "./data_table";
import type { Context, Shown, View } from "./view";

function text_column(
  key: keyof Trial & string,
  label: string,
  text?: (row: Trial) => string | null,
): Column<Trial> {
  return {
    key,
    label,
    value: (row) => row[key],
    text: text ?? ((row) => (row[key] === null ? null : String(row[key]))),
  };
}

const columns: Column<Trial>[] = [
  text_column("id", strings.trial),
  text_column("feed", strings.feed),
  text_column("antenna", strings.antenna),
  text_column("receiver", strings.receiver),
  text_column("mount", strings.mount),
  text_column("rotation_deg", strings.rotation, (row) => `${row.rotation_deg}°`),
  text_column("start", strings.started, (row) => time_text(seconds_of(row.start))),
  text_column("stop", strings.stopped, (row) =>
    row.stop === null ? strings.running : time_text(seconds_of(row.stop)),
  ),
  text_column("note", strings.note),
];

export function trials_view(context: Context): View {
  const { doc, refresh } = context;
  const behind = table_behind(context, "trials", "behind", strings.trials_table);
  const read_only = html(doc, "p", { class: "note" }, strings.read_only);
  const outcome = html(doc, "p", { class: "note", role: "status", "aria-live": "polite" });
  const token = html(doc, "input", { type: "password", autocomplete: "off", required: true });
  const input = (list?: string) => html(doc, "input", { type: "text", list, autocomplete: "off" });
  const feed = html(doc, "select", {});
  const antenna = input("known-antennas");
  const receiver = input("known-receivers");
  const mount = input("known-mounts");
  const rotation = html(doc, "input", {
    type: "number",
    min: 0,
    max: 359,
    step: "any",
    value: "0",
  });
  const note = html(doc, "input", { type: "text", maxlength: 500 });
  const lists = ["antennas", "receivers", "mounts"].map((name) =>
    html(doc, "datalist", { id: `known-${name}` }),
  );
  const button = (text: string) => html(doc, "button", { type: "button" }, text);
  const start = button(strings.start_trial);
  const stop = button(strings.stop_trial);
  const add = button(strings.add_note);
  const label = (text: string, field: HTMLElement) => html(doc, "label", {}, text, field);
  const form = html(
    doc,
    "form",
    { class: "setting" },
    label(strings.token, token),
    label(strings.feed, feed),
    label(strings.antenna, antenna),
    label(strings.receiver, receiver),
    label(strings.mount, mount),
    label(strings.rotation, rotation),
    label(strings.note, note),
    html(doc, "div", { class: "buttons" }, start, stop, add),
    ...lists,
  );
  const element = html(
    doc,
    "section",
    { class: "panel trials", hidden: true, "aria-label": strings.trials_title },
    html(doc, "h2", {}, strings.trials_title),
    behind.element,
    read_only,
    form,
    outcome,
  );
  form.addEventListener("submit", (event) => event.preventDefault());

  async function send(path: string, body: unknown, done: string): Promise<void> {
    if (token.value === "") {
      set_text(outcome, strings.token_missing);
      token.focus();
      return;
    }
    const answer = await tell(path, token.value, body);
    set_text(outcome, answer.kind === "failed" ? answer.detail : done);
    if (answer.kind === "ok") refresh();
  }
  start.addEventListener("click", () => {
    const body = {
      feed: feed.value,
      antenna: antenna.value.trim(),
      receiver: receiver.value.trim(),
      mount: mount.value.trim(),
      rotation_deg: Number(rotation.value),
      note: note.value.trim(),
    };
    if (body.antenna === "") {
      set_text(outcome, strings.antenna_missing);
      antenna.focus();
      return;
    }
    // What is left empty is not sent: it stays as it is.
    const said = Object.fromEntries(Object.entries(body).filter(([, value]) => value !== ""));
    void send("api/trials/start", said, strings.trial_started(body.antenna));
  });
  stop.addEventListener(
    "click",
    () => void send("api/trials/stop", { feed: feed.value }, strings.trial_stopped(feed.value)),
  );
  add.addEventListener("click", () => {
    const text = note.value.trim();
    if (text === "") {
      set_text(outcome, strings.note_missing);
      note.focus();
      return;
    }
    void send("api/notes", { text }, strings.note_added);
  });

  let drawn: unknown[] = [];
  return {
    element,
    update({ model, state }: Shown) {
      const trials = value_of(model.trials);
      const site = model.site;
      element.hidden = trials === null || site === null;
      if (trials === null || site === null) return;
      const now: unknown[] = [trials, site, state.units];
      if (now.every((part, i) => part === drawn[i])) return;
      drawn = now;
      behind.show(columns, trials.trials, strings.trials_title, state.units);
      read_only.hidden = site.writable;
      form.hidden = !site.writable;
      const known = [site.antennas, site.receivers, site.mounts];
      lists.forEach((list, i) =>
        list.replaceChildren(...(known[i] ?? []).map((value) => html(doc, "option", { value }))),
      );
      const chosen = feed.value;
      feed.replaceChildren(...site.feeds.map((name) => html(doc, "option", { value: name }, name)));
      if (site.feeds.includes(chosen)) feed.value = chosen;
    },
  };
}
