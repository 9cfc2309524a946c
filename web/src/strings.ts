// Every word that a person reads on the page, in English.
import type { FeedState, SectorState, VerdictWord } from "./api";
import type { DifferenceStyle } from "./marks/difference";

export const strings = {
  product: "Roundel",
  title: (site: string) => `${site} · Roundel`,
  no_site: "No site yet",
  skip: "Skip to the conclusion",
  place: (latitude: string, longitude: string, height: string) =>
    `${latitude} ${longitude}, antenna ${height} above ground`,

  units: "Units",
  metric: "km, m",
  aviation: "NM, ft",
  theme: "Colours",
  theme_auto: "Auto",
  theme_light: "Light",
  theme_dark: "Dark",

  conclusion: "Conclusion",
  waiting: "Asking roundeld…",
  judging: "The verdict is being worked out…",
  verdict_word: {
    omnidirectional: "Omnidirectional",
    not_omnidirectional: "Not omnidirectional",
    undecided: "Undecided",
  } satisfies Record<VerdictWord, string>,
  confidence: (share: string) => `${share} confidence`,
  about_antenna: (name: string) => `Antenna ${name}`,
  about_trial: (id: string) => `Trial ${id}`,
  from_to: (from: string, to: string) => `${from} to ${to}`,
  as_of: (time: string) => `as of ${time}`,
  only_from: (time: string) => `From ${time} on, the newest part of what is chosen.`,
  only_newest: "the newest part of what is chosen; roundel verdict goes through all of it",
  advice: (count: number) => `What would help (${count})`,
  failed: (what: string, detail: string) => `${what} could not be had: ${detail}`,
  reach_answer: "The reach",
  verdict_answer: "The verdict",
  reach_summary: (count: number, sectors: number, farthest: string, bearing: string) =>
    `Heard on ${count} of ${sectors} sectors, farthest ${farthest} at ${bearing}.`,

  map_title: (site: string) => `Reach around ${site}`,
  map_description: (heard: number, sectors: number, nearest: string, farthest: string) =>
    `Azimuthal equidistant map, north up. ${heard} of ${sectors} sectors have a reach, from ${nearest} to ${farthest}. The same numbers are in the table below.`,
  map_description_empty:
    "Azimuthal equidistant map, north up, with the farthest an aircraft could be heard by altitude. Nothing was heard yet.",
  choose: "Choose a bearing",
  legend: "Legend",
  legend_reach: "Reach by sector",
  legend_unknown: "Nothing heard",
  legend_limits: "Limit for an aircraft at",
  limit_method: (method: string) => `Limits: ${method}.`,
  state: {
    horizon: "To the horizon",
    signal: "Signal runs out",
    obstructed: "Obstructed",
    unjudged: "Too little traffic",
  } satisfies Record<SectorState, string>,
  state_meaning: {
    horizon: "Heard to 90 % of the radio horizon or more.",
    signal: "Fewer reports get through with distance, before the horizon: the antenna.",
    obstructed: "Silent below one elevation, heard above: a wall or a hill.",
    unjudged: "Not enough flights to judge.",
  } satisfies Record<SectorState, string>,

  bearing: "Bearing",
  bearing_hint: "Point at the map, tap it, or use the arrow keys on it.",
  bearing_none: "No bearing chosen",
  bearing_value: (bearing: string, reach: string) => `${bearing} degrees, ${reach}`,
  every_bearing: "All bearings",
  farthest_reach: "Farthest",
  weakest_reach: "Least of its horizon",
  sectors_of: (count: string, all: string, spans: string) =>
    spans === "" ? `all ${all} sectors` : `${count} of ${all}: ${spans}`,
  clear: "Clear",
  reach: "Reach",
  no_reach: "nothing heard",
  of_horizon: "Share of horizon",
  horizon: "Horizon there",
  farthest_altitude: "Heard at",
  farthest_time: "Heard on",
  half_rate: "Half get through at",
  last_heard: "Contact lost at",
  of_flights: (count: string) => `median of ${count}`,
  at_least: (low: string) => `at least ${low}`,
  gain: "Gain",
  gain_low: "Gain, low",
  gain_high: "Gain, high",
  gain_band: (low: string, high: string) => `${low} to ${high}`,
  cutoff: "Silent below",
  flights: "Flights",
  cells: "Cells",
  sector_state: "State",
  by_altitude: "By altitude",
  altitude: "Altitude",
  unknown: "–",
  between: (low: string, high: string) => `${low} to ${high}`,

  table: "The same as a table",
  table_caption: (width: string) => `Reach by sector of ${width}°`,
  save_csv: "Save as CSV",
  save_svg: "Save as SVG",
  save_png: "Save as PNG",

  choose_gain: "Choose a bearing on the gain plot",
  choose_difference: "Choose a bearing on the difference plot",
  not_judged: "not judged",
  legend_against: "Reach of the other",
  // Any of them may be the only one.
  difference_style: {
    "much-better": (db: number) => `Hears better by ${db} dB or more`,
    better: () => "Hears better",
    same: () => "No clear difference",
    worse: () => "The other hears better",
    "much-worse": (db: number) => `The other by ${db} dB or more`,
  } satisfies Record<DifferenceStyle, (db: number) => string>,
  versus: "Show the two as",
  versus_outline: "Outlines",
  versus_difference: "Difference",
  legend_field: "Share heard, none to all",
  legend_field_from: (day: string) => `Share heard since ${day}, none to all`,
  above: (altitude: string) => `above ${altitude}`,

  gain_title: "Gain by bearing",
  gain_description: (ripple: string) =>
    `Polar plot of relative gain with its confidence band, north up; the mean over bearings is 0 dB. ${ripple}`,
  ripple: (value: string, low: string, high: string, tolerance: string) =>
    `Ripple ${value} dB peak to peak (${low} to ${high} dB). Ring: tolerance of ${tolerance} dB.`,
  gain_note: (confidence: string) => `Around the line: its ${confidence} interval.`,
  ripple_unknown: "Ripple not known yet.",

  cut_title: "Vertical cut",
  cut_title_of: (sector: string) => `Vertical cut, ${sector}`,
  cut_hint: "Shown as soon as something is heard.",
  cut_of_weakest:
    "No bearing is chosen: this is the one whose reach falls furthest short of its horizon.",
  cut_note:
    "Share of reports heard by range and altitude. Thick line: the radio horizon. Dotted: lines of equal elevation.",
  cut_note_cutoff: (elevation: string) => `Solid line: ${elevation}, below which nothing is heard.`,
  cut_description:
    "Range to the right, altitude upward: the share of reports heard in each bin, the radio horizon, lines of equal elevation.",
  address: "Address",
  heard_from: "First heard",
  heard_to: "Last heard",
  nearest: "Nearest",
  farthest: "Farthest",
  share_heard: "Share heard",
  reports_heard: "Heard",
  reports_expected: "Sent",
  hour: "Hour",
  day: "Day",
  sensitivity: "Sensitivity",
  range_of_bin: "Range, middle",
  altitude_of_bin: "Altitude, middle",
  cut_table: "The same as a table",
  cut_flights: (shown: string, all: string) =>
    shown === all ? `Flights (${all})` : `Flights (the latest ${shown} of ${all})`,
  cut_hours: "Reports heard by hour on this bearing",
  hours_table: "Hours as a table",
  drift_table: "Days as a table",

  selection: "What is shown",
  all: "All",
  of_trial: "As in the trial",
  antenna: "Antenna",
  trial: "Trial",
  receiver: "Receiver",
  mount: "Mount",
  feed: "Feed",
  rotation: "Rotation, degrees",
  turned: (degrees: string) => `turned ${degrees}°`,
  against: "Compare with",
  nothing_else: "Nothing",
  antenna_is: (name: string) => `antenna ${name}`,
  trial_is: (label: string) => `trial ${label}`,
  all_altitudes: "All altitudes",
  time: "Time",
  last_day: "Day",
  last_week: "Week",
  last_month: "Month",
  all_time: "All",
  from: "From",
  to: "To",

  time_title: "Time (UTC)",
  hours_title: "Reports heard by hour",
  hours_description: (from: string, to: string, most: string) =>
    `Bars by hour from ${from} to ${to}, at most ${most} reports in an hour. Pull over it, or use the fields below, to choose a time.`,
  hours_only: (from: string, to: string, most: string) =>
    `Bars by hour from ${from} to ${to}, at most ${most} reports in an hour.`,
  drift_title: "Sensitivity by day, dB",
  no_change: "Daily index of sensitivity with its interval. No change stands out.",
  change: (step: string, low: string, high: string, probability: string, bearings: string) =>
    `${step} (${low} to ${high}) on ${bearings}, probability ${probability}.`,
  all_bearings: "all bearings",

  compare_title: "Difference by bearing",
  compare_answer: "The comparison",
  difference: "Difference",
  low: "Low",
  high: "High",
  significant: "Stands out",
  yes: "yes",
  no: "no",
  difference_of: (value: string, low: string, high: string, how: string) =>
    `What is shown is ${value} against the other (${low} to ${high}), ${how}.`,
  difference_note: (a: string, b: string) =>
    `${a} less ${b}: outside of the ring of 0 dB the first hears better. Around the line: its interval. Orange: bearings on which that leaves out zero.`,
  what_is_shown: "What is shown",
  paired: "both on at once",
  unpaired: "one after the other",

  trials_title: "What was mounted",
  trials_table: "Trials",
  started: "Started",
  stopped: "Stopped",
  running: "running",
  note: "Note",
  read_only:
    "This page is read-only: no token is set. Set one as token under [web] in roundel.toml to start and stop trials from here, or use roundel trial.",
  token: "Token",
  token_missing: "Type the token first.",
  antenna_missing: "Name the antenna first.",
  note_missing: "Write the note first.",
  start_trial: "Start trial",
  stop_trial: "Stop trial",
  add_note: "Add note",
  trial_started: (antenna: string) => `Trial of ${antenna} started.`,
  trial_stopped: (feed: string) => `Trial on ${feed} stopped.`,
  note_added: "Note added.",

  live: "Feeds",
  feed_state: {
    connecting: "connecting",
    connected: "receiving",
    stalled: "silent",
    listening: "waiting for a connection",
    stopped: "stopped",
  } satisfies Record<FeedState, string>,
  since: (time: string) => `since ${time}`,
  reports: "reports",
  aircraft_minute: "aircraft in the last minute",
  last_report: (age: string) => `last report ${age} ago`,
  no_report: "no report yet",
  connection_lost: (time: string) =>
    `Connection to roundeld lost at ${time}. Trying again; what is shown is from before.`,
  store_trouble: (words: string) => `Not stored: ${words}`,

  empty_title: "Nothing heard yet",
  lessons: "What to do",
  empty_no_feed:
    "No feed is configured. Point one at your receiver’s text output in roundel.toml, then restart roundeld:",
  empty_connecting: (feed: string, age: string) =>
    `Feed “${feed}” has been trying to connect for ${age}. Check that address and port are right and that the receiver’s program is running.`,
  empty_listening: (feed: string) => `Feed “${feed}” is waiting for someone to connect to it.`,
  empty_connected: (feed: string) =>
    `Feed “${feed}” is connected. The first sectors appear when a flight has been followed for a minute.`,
  empty_peek: "To see what an unknown feed says, and to get its layout ready to paste:",
  empty_stalled: (feed: string, time: string, age: string) =>
    `Feed “${feed}” has been silent since ${time} (${age}).`,
  empty_no_altitude: (feed: string, share: string) =>
    `${share} of what “${feed}” says carries no altitude, so it cannot be held against the horizon. Name the field with altitude_ft in its layout, or set carry_s if altitude comes on lines of its own.`,
  empty_not_read: (feed: string, share: string, reason: string) =>
    `${share} of what “${feed}” says is turned away (${reason}). Look at its lines with roundeld peek and correct the layout.`,

  snippet_feed: `[[antenna]]
name = "collinear"
[[receiver]]
name = "rx1"
[[mount]]
name = "gable"

[[feed]]
name = "roof"
# host and port of the text feed
connect = "127.0.0.1:27411"
# or a [layout.NAME] of your own
layout = "ndjson"
antenna = "collinear"
receiver = "rx1"
mount = "gable"`,
  snippet_peek: "roundeld peek 127.0.0.1:27411",

  footer: (version: string) => `roundeld ${version}`,
  footer_map:
    "Coast and borders: Natural Earth, public domain. Places: city-timezones, MIT licence.",
} as const;
