#include "roundel/present/feed_warnings.h"

#include <fmt/format.h>

#include <cmath>

namespace roundel::present {
namespace {

// What is less is no obstacle to anything. Common practice, no source.
constexpr double clock_ahead_s = 60;
constexpr double coarse_step_deg = 0.0009;  // three decimals or fewer
constexpr double many_repeats = 0.05, many_crowded = 0.05;

double repeated_share(const schema::Tally& tally) {
  const auto count = [&](const char* kind) {
    const auto found = tally.find(kind);
    return found == tally.end() ? 0 : static_cast<double>(found->second);
  };
  return count("repeat") / std::max(1.0, count("repeat") + count("stored"));
}

std::string span_words(double span_s) {
  if (span_s < 7200) return fmt::format("{:.0f} min", span_s / 60);
  return span_s < 172'800 ? fmt::format("{:.0f} h", span_s / 3600)
                          : fmt::format("{:.0f} days", span_s / 86'400);
}

std::string about_step(double step_deg, const schema::Tally& tally) {
  const int decimals = static_cast<int>(std::lround(-std::log10(step_deg)));
  std::string text = fmt::format("positions have {} decimal{} (steps of {:.0f} m). ", decimals,
                                 decimals == 1 ? "" : "s", step_deg * 111'195);
  if (repeated_share(tally) > many_repeats)
    text +=
        "The feed repeats positions as well: which of them are new cannot be told, and rates "
        "are wrong by an unknown amount. ";
  else if (decimals <= 2)
    text += "An aircraft stays within one step for many messages: rates are uncertain. ";
  else
    text += "New positions of slow aircraft are told from repeats by their speed. ";
  return text + "Let the receiver print five decimals.";
}

}  // namespace

std::vector<std::string> feed_warnings(const std::optional<schema::FeedTraits>& traits,
                                       const std::optional<schema::FeedClock>& clock,
                                       const schema::Tally& tally) {
  std::vector<std::string> out;
  if (clock && clock->feed_time_s - clock->arrival_s > clock_ahead_s)
    out.push_back(fmt::format(
        "its clock is {} ahead of this computer's. Set the one that is wrong, or write clock = "
        "\"arrival\" under its [[feed]].",
        span_words(clock->feed_time_s - clock->arrival_s)));
  if (!traits) return out;
  if (traits->position_step_deg >= coarse_step_deg)
    out.push_back(about_step(traits->position_step_deg, tally));
  if (traits->crowded_share > many_crowded)
    out.push_back(fmt::format(
        "{:.0f} % of full cells hold more than 25 reports in ten seconds, which no aircraft sends. "
        "The feed prints positions of its own making between those received, and silence does not "
        "show. Let it print received positions alone, or pick their lines with keep in its layout.",
        100 * traits->crowded_share));
  return out;
}

}  // namespace roundel::present
