// Every word that a person reads on the page, in English.
import type { FeedState, SectorState, VerdictWord } from "./api";
import type { DifferenceStyle } from "./marks/difference";

export const strings = {
  product: "Roundel",
  title: (site: string) => `${site} · Roundel`,
  no_site: "No site yet",
  skip: "Skip to the answers",
  place: (latitude: string, longitude: string, height: string) =>
    `${latitude} ${longitude}, antenna ${height} above ground`,

  units: "Units",
  metric: "km, m",
  aviation: "NM, ft",
  theme: "Colours",
  theme_auto: "Auto",
  theme_light: "Light",
  theme_dark: "Dark",

  answers: "Answers",
  question: {
    round: "Is it round?",
    wall: "Is there a wall?",
    far: "Does it reach far?",
    against: "Against another",
    still: "Has it changed?",
  },
  waiting_short: "…",
  not_known: "Not known yet",
  round: {
    omnidirectional: "Round",
    not_omnidirectional: "Not round",
    undecided: "Undecided",
  } satisfies Record<VerdictWord, string>,
  ripple_short: (value: string, low: string, high: string) =>
    `${value} dB from least to most (${low} to ${high})`,
  wall: "A wall",
  no_wall: "No wall",
  spans: (first: string, more: number) =>
    more === 0 ? `at ${first}` : `at ${first} and ${more} more`,
  judged: (count: number, all: number) => `${count} of ${all} bearings judged`,
  far: "As far as it should",
  not_far: "Not as far as it should",
  far_detail: (share: string) => `${share} of the horizon where nothing is in the way`,
  no_other: "One antenna is known.",
  nothing_to_compare: "Nothing to compare",
  better_than: (name: string) => `Better than ${name}`,
  worse_than: (name: string) => `Worse than ${name}`,
  like: (name: string) => `No clear difference from ${name}`,
  changed: "It changed",
  changed_on: (step: string, date: string) => `${step} on ${date}`,
  unchanged: "Still as it was",
  days_needed: "Two days are needed.",
  over_days: (count: number) => `over ${count} days`,

  conclusion: "In full",
  waiting: "Asking roundeld…",
  nothing_to_judge: "Nothing to judge yet.",
  judging: "The verdict is being worked out…",
  confidence: (share: string) => `${share} confidence`,
  about_antenna: (name: string) => `Antenna ${name}`,
  about_trial: (id: string) => `Trial ${id}`,
  from_to: (from: string, to: string) => `${from} to ${to}`,
  as_of: (time: string) => `as of ${time}`,
  only_from: (time: string) => `From ${time} on, the newest part of what is chosen.`,
  only_newest: "the newest part of what is chosen; roundel verdict goes through all of it",
  advice: "What would help",
  failed: (what: string, detail: string) => `${what} could not be had: ${detail}`,
  reach_answer: "The reach",
  verdict_answer: "The verdict",
  reach_summary: (count: number, sectors: number, farthest: string, bearing: string) =>
    `Heard on ${count} of ${sectors} sectors, farthest ${farthest} at ${bearing}.`,

  map: "Reach and share heard",
  map_title: (site: string) => `Reach around ${site}`,
  map_description: (heard: number, sectors: number, nearest: string, farthest: string) =>
    `Azimuthal equidistant map, north up. ${heard} of ${sectors} sectors have a reach, from ${nearest} to ${farthest}. The same numbers are in the table below.`,
  map_description_empty:
    "Azimuthal equidistant map, north up, with the farthest an aircraft could be heard by altitude. Nothing was heard yet.",
  choose: "Choose a bearing",
  legend: "Legend",
  legend_reach: "Reach by sector",
  legend_unknown: "Nobody flew here",
  legend_silent: "Flew here, was not heard",
  legend_limit: (altitude: string) => `Limit for an aircraft at ${altitude}`,
  limit_method: (method: string) => `Limits: ${method}.`,
  state: {
    horizon: "To the horizon",
    signal: "Signal runs out",
    obstructed: "Obstructed",
    unjudged: "Too little traffic",
  } satisfies Record<SectorState, string>,
  state_meaning: {
    horizon: "Heard to 90% of the radio horizon or more.",
    signal: "Fewer reports get through with distance, before the horizon: the antenna.",
    obstructed: "Silent below one elevation, heard above: a wall or a hill.",
    unjudged: "Not enough flights to judge.",
  } satisfies Record<SectorState, string>,

  bearing: "Bearing",
  bearing_hint: "Point at the map, tap it, or use the arrow keys on it.",
  bearing_none: "No bearing chosen",
  bearing_value: (bearing: string, point: string, reach: string) =>
    `${bearing} degrees ${point}, ${reach}`,
  every_bearing: "All bearings",
  farthest_reach: "Farthest",
  weakest_reach: "Least of its horizon",
  sectors_of: (count: string, all: string, spans: string) =>
    spans === "" ? `all ${all} sectors` : `${count} of ${all}: ${spans}`,
  counts: (heard: string, sent: string, share: string) =>
    `${heard} of ${sent} reports heard (${share})`,
  counts_here: (counts: string) => `${counts} at this range`,
  no_traffic_here: "Nobody flew at this range.",
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

  table: "Reach by sector as a table",
  table_caption: (width: string) => `Reach by sector of ${width}°`,
  save: "Save",
  page: "This page",
  print: "Print",

  choose_gain: "Choose a bearing on the gain plot",
  choose_difference: "Choose a bearing on the difference plot",
  not_judged: "not judged",
  reach_of: (name: string) => `Reach of ${name}`,
  // Any of them may be the only one.
  difference_style: {
    "much-better": (name: string, db: number) => `${name} hears better by ${db} dB or more`,
    better: (name: string) => `${name} hears better`,
    same: () => "No clear difference",
    worse: (name: string) => `${name} hears better`,
    "much-worse": (name: string, db: number) => `${name} hears better by ${db} dB or more`,
  } satisfies Record<DifferenceStyle, (name: string, db: number) => string>,
  legend_field: "of reports heard",
  legend_field_from: (day: string) => `of reports heard since ${day}`,
  share_scale: "Share of reports heard, from the steps' lightest to their darkest",
  of_band_only: "One band of altitude: shares and states are known of all altitudes only.",
  above: (altitude: string) => `above ${altitude}`,

  gain_title: "Gain by bearing",
  gain_description: (ripple: string) =>
    `Polar plot of relative gain with its confidence band, north up; the mean over bearings is 0 dB. ${ripple}`,
  ripple: (value: string, low: string, high: string, tolerance: string) =>
    `Ripple ${value} dB peak to peak (${low} to ${high} dB). Ring: tolerance of ${tolerance} dB.`,
  gain_note: (confidence: string) => `Around the line: its ${confidence} interval.`,
  ripple_unknown: "Ripple not known yet.",

  cut_title: "From the side",
  cut_title_of: (sector: string) => `From the side, ${sector}`,
  cut_of_band: (band: string) => `Only ${band}.`,
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
  cut_table: "Cut as a table",
  bearing_hours_table: "Hours on this bearing as a table",
  flights_on_bearing: "Flights on this bearing",
  elevation: "Elevation",
  elevation_title: "Gain by elevation",
  elevation_table: "Gain by elevation as a table",
  elevation_description: (low: string, high: string) =>
    `Gain to the right, elevation upward, with its interval: from ${low} to ${high}.`,
  lean: (deg: string, towards: string, low: string, high: string) =>
    `It leans ${deg}° towards ${towards} (${low} to ${high}).`,
  reflection: (span: string, height: string) =>
    `At ${span} flat ground throws back, ${height} below the antenna.`,
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
  last: { day: "Day", week: "Week", month: "Month" },
  chosen_time: "a chosen time",
  filters: (chosen: string) => `Show: ${chosen}`,
  time_form: "Write a time in UTC as 2026-03-01 14:05.",
  all_time: "All",
  from: "From (UTC)",
  to: "To (UTC)",

  time_title: "Time (UTC)",
  hours_title: "Reports heard by hour",
  hours_description: (from: string, to: string, most: string) =>
    `Bars by hour from ${from} to ${to}, at most ${most} reports in an hour. Pull over it, or use the fields above, to choose a time.`,
  hours_only: (from: string, to: string, most: string) =>
    `Bars by hour from ${from} to ${to}, at most ${most} reports in an hour.`,
  drift_title: "Sensitivity by day, dB",
  no_change: "Daily index of sensitivity with its interval. No change stands out.",
  change: (step: string, low: string, high: string, probability: string, bearings: string) =>
    `${step} (${low} to ${high}) on ${bearings}, probability ${probability}.`,
  all_bearings: "all bearings",

  compare_title: "Comparison",
  compare_of: (a: string, b: string) => `${a} against ${b}`,
  compare_end: "End the comparison",
  compare_time: "Time of the second",
  compare_same: "Same time",
  compare_all: "All its time",
  at_other_time: (name: string) => `${name} at its other time`,
  both_reaches: "Both reaches",
  difference_by_bearing: "Difference by bearing",
  difference_table: "Difference as a table",
  hears_better: (a: string, b: string, value: string, band: string, how: string) =>
    `${a} hears better than ${b} by ${value} (${band}), ${how}.`,
  no_difference: (a: string, b: string, value: string, band: string, how: string) =>
    `Between ${a} and ${b} there is no clear difference: ${value} (${band}), ${how}.`,
  compare_answer: "The comparison",
  difference: "Difference",
  low: "Low",
  high: "High",
  significant: "Stands out",
  yes: "yes",
  no: "no",
  difference_note: (a: string, b: string) =>
    `${a} less ${b}: outside of the ring of 0 dB ${a} hears better. Around the line: its interval. Thick: bearings on which that leaves out zero.`,
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
  farthest_hour: (range: string, bearing: string) => `farthest of the hour ${range} at ${bearing}`,
  in_sight: (count: number, silent: number) =>
    silent === 0 ? `${count} in sight` : `${count} in sight, ${silent} of them in a gap`,
  turned_away: (count: string, reason: string) => `${count} turned away in a minute: ${reason}`,
  connection_lost: (time: string) =>
    `Connection to roundeld lost at ${time}. Trying again; what is shown is from before.`,
  store_trouble: (words: string) => `Not stored: ${words}`,

  empty_title: "Nothing heard yet",
  lessons: "What to do",
  empty_no_feed:
    "No feed is configured. Point one at your receiver’s text output in roundel.toml, then restart roundeld:",
  empty_connecting: (feed: string, endpoint: string | null, age: string) =>
    `Feed “${feed}” has been trying to connect${endpoint === null ? "" : ` to ${endpoint}`} for ${age}. Check that address and port are right and that the receiver’s program is running.`,
  empty_listening: (feed: string, endpoint: string | null) =>
    `Feed “${feed}” is waiting for someone to connect to it${endpoint === null ? "" : `, on ${endpoint}`}. Send your receiver’s text output there.`,
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
  snippet_peek: (endpoint: string | null) => `roundeld peek ${endpoint ?? "HOST:PORT"}`,

  footer: (version: string) => `roundeld ${version}`,
  footer_map:
    "Coast and borders: Natural Earth, public domain. Places: city-timezones, MIT licence.",
} as const;
