#include "daemon/serve/conclusions.h"

#include <fmt/format.h>

#include <cmath>
#include <numeric>

#include "daemon/serve/kept_verdicts.h"
#include "roundel/pattern/cut.h"
#include "roundel/pattern/field.h"
#include "roundel/pattern/reach.h"
#include "roundel/pattern/summary.h"
#include "roundel/pattern/verdict.h"
#include "roundel/present/compare.h"
#include "roundel/present/drift.h"
#include "roundel/present/expect.h"
#include "roundel/present/field.h"
#include "roundel/present/reach.h"
#include "roundel/present/verdict.h"
#include "roundel/present/vertical_cut.h"
#include "roundel/site/expect.h"
#include "roundel/time.h"
#include "roundel/trial/compare.h"
#include "roundel/trial/drift.h"

namespace roundel::serve {
namespace {

Answer concluded(std::string text) { return {.body = std::move(text) + "\n"}; }

Result<double> sector_width_deg(const Query& query) {
  return read_number(query, "sector_deg", 1, 90, pattern::ReachOptions{}.sector_deg);
}

/// From so many on reach is told by hourly summaries.
constexpr std::int64_t many_cells = 1'000'000;

// The part of a selection that an answer is about.
struct Recent {
  schema::Selection which;
  /// Its start, where the selection begins earlier.
  std::optional<double> only_from_s;
};

/// Whether summaries tell of sectors so wide.
bool fits_summaries(double width_deg) {
  return std::remainder(width_deg, pattern::SummaryBins::sector_deg) == 0;
}

/// The newest whole hours of a selection that hold no more than may be worked through,
/// but at least one; all of it if it may. Of hours taken from summaries that is ten times as much.
Result<Recent> recent_of(const Ask& ask, const schema::Store& store, schema::Selection which,
                         bool from_summaries = false) {
  const std::int64_t most_cells = from_summaries ? 10 * ask.most_cells : ask.most_cells;
  const auto hours = store.hours(which);
  if (!hours) return tl::unexpected(hours.error());
  std::int64_t cells = 0;
  for (auto hour = hours->rbegin(); hour != hours->rend(); ++hour) {
    cells += hour->cells;
    if (cells <= most_cells || hour == hours->rbegin()) continue;
    which.from_s = static_cast<double>(std::prev(hour)->hour_s);
    return Recent{which, which.from_s};
  }
  return Recent{std::move(which), {}};
}

/// An answer about less than was selected says so.
Answer concluded(std::string text, const std::optional<double>& only_from_s) {
  if (only_from_s) text.insert(1, fmt::format("\"only_from\":\"{}\",", format_time(*only_from_s)));
  return concluded(std::move(text));
}

// What is selected, and how wide its sectors are.
struct Sectors {
  schema::Selection which;
  double width_deg;
};

Result<Sectors> read_sectors(const Query& query) {
  auto which = read_selection(query);
  if (!which) return tl::unexpected(std::move(which.error()));
  const auto width_deg = sector_width_deg(query);
  if (!width_deg) return tl::unexpected(width_deg.error());
  return Sectors{std::move(*which), *width_deg};
}

// One side of a comparison.
Result<schema::Selection> read_side(const Query& query, std::string_view key) {
  const auto word = query.get(key);
  if (!word || word->empty())
    return fail(Errc::bad_usage, "names nothing to compare", std::string(key),
                "write a=antenna=collinear&b=antenna=spider");
  return read_selection(*word);
}

// What a verdict found of the same selection; null: it is to be worked out.
Result<KeptVerdicts::Sectors> kept_sectors(const Ask& ask, const schema::Store& store) {
  if (!ask.verdicts || ask.must_be_new) return nullptr;
  return KeptVerdicts::key_of(ask.query, store).map([&](const std::string& key) {
    return ask.verdicts->find(key, KeptVerdicts::Clock::now());
  });
}

}  // namespace

Result<Answer> reach(const Ask& ask, const schema::Store& store) {
  const auto asked = read_sectors(ask.query);
  if (!asked) return tl::unexpected(asked.error());
  pattern::ReachOptions options;
  options.sector_deg = asked->width_deg;
  options.refraction = ask.expect.refraction;
  options.sea_level_hpa = ask.expect.sea_level_hpa;
  const auto hours = store.hours(asked->which);
  if (!hours) return tl::unexpected(hours.error());
  const auto cells =
      std::accumulate(hours->begin(), hours->end(), std::int64_t{0},
                      [](std::int64_t sum, const schema::Hour& hour) { return sum + hour.cells; });
  options.from_summaries = cells > many_cells && fits_summaries(asked->width_deg);
  return pattern::reach(store, asked->which, options).map([](const pattern::Reach& reach) {
    return concluded(present::reach_json(reach));
  });
}

Result<Answer> field(const Ask& ask, const schema::Store& store) {
  const auto asked = read_sectors(ask.query);
  if (!asked) return tl::unexpected(asked.error());
  const bool from_summaries = fits_summaries(asked->width_deg);
  const auto recent = recent_of(ask, store, asked->which, from_summaries);
  if (!recent) return tl::unexpected(recent.error());
  return pattern::heard_field(store, recent->which, asked->width_deg, from_summaries)
      .map([&](const pattern::Field& heard) {
        return concluded(present::field_json(heard), recent->only_from_s);
      });
}

Result<Answer> cut(const Ask& ask, const schema::Store& store) {
  const auto asked = read_sectors(ask.query);
  if (!asked) return tl::unexpected(asked.error());
  const auto bearing_deg = read_number(ask.query, "bearing_deg", 0, 360, 0);
  if (!bearing_deg) return tl::unexpected(bearing_deg.error());
  pattern::CutOptions options;
  options.sector_deg = asked->width_deg;
  options.bearing_deg = *bearing_deg < 360 ? *bearing_deg : 0;
  options.from_summaries = fits_summaries(asked->width_deg);
  const auto recent = recent_of(ask, store, asked->which);
  if (!recent) return tl::unexpected(recent.error());
  const auto judged = kept_sectors(ask, store);
  if (!judged) return tl::unexpected(judged.error());
  return pattern::cut(store, recent->which, options, judged->get())
      .map([&](const pattern::Cut& cut) {
        return concluded(present::cut_json(cut), recent->only_from_s);
      });
}

Result<std::vector<Answer>> cuts(const Ask& ask, const schema::Store& store,
                                 std::vector<double>& bearings_deg) {
  const auto asked = read_sectors(ask.query);
  if (!asked) return tl::unexpected(asked.error());
  pattern::CutOptions options;
  options.sector_deg = asked->width_deg;
  options.from_summaries = fits_summaries(asked->width_deg);
  const auto recent = recent_of(ask, store, asked->which);
  if (!recent) return tl::unexpected(recent.error());
  const auto judged = kept_sectors(ask, store);
  if (!judged) return tl::unexpected(judged.error());
  const auto all = pattern::cuts(store, recent->which, options, judged->get());
  if (!all) return tl::unexpected(all.error());
  std::vector<Answer> out;
  for (const pattern::Cut& cut : *all) {
    bearings_deg.push_back(cut.bearing_deg);
    out.push_back(concluded(present::cut_json(cut), recent->only_from_s));
  }
  return out;
}

Result<Answer> verdict(const Ask& ask, const schema::Store& store) {
  const auto asked = read_sectors(ask.query);
  if (!asked) return tl::unexpected(asked.error());
  pattern::VerdictOptions options;
  options.from_summaries = fits_summaries(asked->width_deg);
  const auto recent = recent_of(ask, store, asked->which, options.from_summaries);
  if (!recent) return tl::unexpected(recent.error());
  const auto begun = KeptVerdicts::Clock::now();
  const auto key = KeptVerdicts::key_of(ask.query, store);
  if (!key) return tl::unexpected(key.error());
  const auto judged = pattern::verdict(store, recent->which, asked->width_deg, options);
  if (!judged) return tl::unexpected(judged.error());
  if (ask.verdicts) ask.verdicts->keep(*key, judged->sectors, begun);
  const auto trials = store.trials(recent->which);
  if (!trials) return tl::unexpected(trials.error());
  std::vector<schema::Id> ids;
  for (const auto& trial : *trials) ids.push_back(trial.id);
  return concluded(present::verdict_json(*judged, ids), recent->only_from_s);
}

Result<Answer> compare(const Ask& ask, const schema::Store& store) {
  const auto a = read_side(ask.query, "a");
  if (!a) return tl::unexpected(a.error());
  const auto b = read_side(ask.query, "b");
  if (!b) return tl::unexpected(b.error());
  const auto width_deg = sector_width_deg(ask.query);
  if (!width_deg) return tl::unexpected(width_deg.error());
  trial::CompareOptions options;
  options.sector_deg = *width_deg;
  options.from_summaries = fits_summaries(*width_deg);
  const auto recent_a = recent_of(ask, store, *a, options.from_summaries);
  if (!recent_a) return tl::unexpected(recent_a.error());
  const auto recent_b = recent_of(ask, store, *b, options.from_summaries);
  if (!recent_b) return tl::unexpected(recent_b.error());
  return trial::compare(store, recent_a->which, recent_b->which, options)
      .map([&](const trial::Comparison& comparison) {
        return concluded(present::compare_json(comparison),
                         std::max(recent_a->only_from_s, recent_b->only_from_s));
      });
}

Result<Answer> drift(const Ask& ask, const schema::Store& store) {
  const auto which = read_selection(ask.query);
  if (!which) return tl::unexpected(which.error());
  const auto recent = recent_of(ask, store, *which);
  if (!recent) return tl::unexpected(recent.error());
  return trial::drift(store, recent->which, true).map([&](const trial::Drift& drift) {
    return concluded(present::drift_json(drift), recent->only_from_s);
  });
}

Result<Answer> expect(const Ask& ask, const schema::Store& store) {
  const auto width_deg = sector_width_deg(ask.query);
  if (!width_deg) return tl::unexpected(width_deg.error());
  const auto site = store.site();
  if (!site) return tl::unexpected(site.error());
  if (!*site) return fail(Errc::not_found, "the database knows no site", "site");
  const auto expectation = site::Expectation::make(**site, ask.expect);
  if (!expectation) return tl::unexpected(expectation.error());
  return concluded(
      present::expect_json(*expectation, pattern::ReachOptions{}.limit_altitudes_ft, *width_deg));
}

}  // namespace roundel::serve
