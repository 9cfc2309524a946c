// Sides of a comparison: what makes sense, what is compared, what differs besides.
#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "roundel/time.h"
#include "roundel/trial/compare.h"

namespace roundel::trial {
namespace {

using Names = std::set<std::string>;

template <class Of>
Names names(const CompareSide& side, const Of& of) {
  Names out;
  for (const TrialPart& part : side.parts) out.insert(of(part.trial));
  return out;
}
std::string antenna_of(const schema::Trial& trial) { return trial.antenna; }
std::string receiver_of(const schema::Trial& trial) { return trial.receiver; }
std::string mount_of(const schema::Trial& trial) { return trial.mount; }
std::string rotation_of(const schema::Trial& trial) {
  return fmt::format("{:g} degrees", trial.rotation_deg);
}

bool share(const Names& a, const Names& b) {
  return std::any_of(a.begin(), a.end(), [&](const auto& name) { return b.count(name) > 0; });
}

std::string joined(const Names& all) {
  std::string out;
  for (const auto& name : all) out += (out.empty() ? "" : " and ") + name;
  return out;
}

std::int64_t overlap_s(const Interval& x, const Interval& y) {
  return std::min(x.to_s, y.to_s) - std::max(x.from_s, y.from_s);
}
std::int64_t overlap_s(const TrialPart& x, const TrialPart& y) {
  std::int64_t sum = 0;
  for (const Interval& i : x.recorded)
    for (const Interval& j : y.recorded) sum += std::max<std::int64_t>(0, overlap_s(i, j));
  return sum;
}

Result<void> check_side(const CompareSide& side, const char* label) {
  for (std::size_t i = 0; i < side.parts.size(); ++i)
    for (std::size_t j = i + 1; j < side.parts.size(); ++j)
      if (overlap_s(side.parts[i], side.parts[j]) > 0)
        return fail(Errc::bad_usage,
                    fmt::format("trials {} and {} ran at the same time on feeds {} and {}, so this "
                                "side is two at once",
                                side.parts[i].trial.id, side.parts[j].trial.id,
                                side.parts[i].trial.feed, side.parts[j].trial.feed),
                    label, "choose one with feed= or trial=");
  const Names antennas = names(side, antenna_of), rotations = names(side, rotation_of);
  const Names receivers = names(side, receiver_of);
  if (antennas.size() > 1 && receivers.size() > 1)
    return fail(Errc::bad_usage,
                fmt::format("holds the antennas {} on the receivers {}: neither is one thing",
                            joined(antennas), joined(receivers)),
                label, "name one antenna with antenna= or one receiver with receiver=");
  if (antennas.size() == 1 && rotations.size() > 1)
    return fail(Errc::bad_usage, fmt::format("holds {} at {}", joined(antennas), joined(rotations)),
                label, "choose one with trial=");
  return {};
}

// Times of both sides as runs: how often recording went from one side to the other.
int alternations(const CompareSide& a, const CompareSide& b) {
  std::vector<std::pair<std::int64_t, int>> starts;
  for (const auto& part : a.parts)
    if (!part.recorded.empty()) starts.emplace_back(part.recorded.front().from_s, 0);
  for (const auto& part : b.parts)
    if (!part.recorded.empty()) starts.emplace_back(part.recorded.front().from_s, 1);
  std::sort(starts.begin(), starts.end());
  int out = 0;
  for (std::size_t i = 1; i < starts.size(); ++i) out += starts[i].second != starts[i - 1].second;
  return out;
}

std::string when(const CompareSide& side) {
  std::int64_t from_s = 0, to_s = 0;
  bool any = false;
  for (const auto& part : side.parts) {
    if (part.recorded.empty()) continue;
    from_s = any ? std::min(from_s, part.recorded.front().from_s) : part.recorded.front().from_s;
    to_s = any ? std::max(to_s, part.recorded.back().to_s) : part.recorded.back().to_s;
    any = true;
  }
  return fmt::format("{} to {}", format_time(static_cast<double>(from_s)),
                     format_time(static_cast<double>(to_s)));
}

}  // namespace

std::string_view name_of(Factor factor) {
  switch (factor) {
    case Factor::antenna:
      return "antenna";
    case Factor::rotation:
      return "rotation";
    case Factor::receiver:
      return "receiver";
    case Factor::mount:
      return "mount";
    case Factor::time:
      break;
  }
  return "time";
}

Result<void> check_sides(const CompareSide& a, const CompareSide& b) {
  if (auto ok = check_side(a, "--a"); !ok) return ok;
  if (auto ok = check_side(b, "--b"); !ok) return ok;
  for (const TrialPart& x : a.parts) {
    for (const TrialPart& y : b.parts) {
      if (x.trial.id != y.trial.id || overlap_s(x, y) <= 0) continue;
      return fail(Errc::bad_usage,
                  fmt::format("both sides hold the same cells of trial {} ({} on {})", x.trial.id,
                              x.trial.antenna, x.trial.feed),
                  "--a and --b", "choose two selections that differ");
    }
  }
  return {};
}

Factor compared_factor(const CompareSide& a, const CompareSide& b) {
  if (!share(names(a, antenna_of), names(b, antenna_of))) return Factor::antenna;
  if (!share(names(a, rotation_of), names(b, rotation_of))) return Factor::rotation;
  if (!share(names(a, receiver_of), names(b, receiver_of))) return Factor::receiver;
  if (!share(names(a, mount_of), names(b, mount_of))) return Factor::mount;
  return Factor::time;
}

std::vector<Confounder> confounders(const CompareSide& a, const CompareSide& b, Factor factor) {
  std::vector<Confounder> out;
  const auto differs = [&](const auto& of, const char* word, const char* remedy) {
    const Names in_a = names(a, of), in_b = names(b, of);
    if (in_a == in_b) return;
    out.push_back({fmt::format("{}: {} was on {}, {} on {}", word, a.name, joined(in_a), b.name,
                               joined(in_b)),
                   remedy});
  };
  if (factor == Factor::receiver) {
    const Names in_a = names(a, antenna_of), in_b = names(b, antenna_of);
    if (in_a != in_b)
      out.push_back(
          {fmt::format("antenna: {} had {}, {} had {}", a.name, joined(in_a), b.name, joined(in_b)),
           "swap the antennas half-way, so that each receiver has each for as long"});
  } else {
    differs(receiver_of, "receiver",
            "swap the receivers half-way, so that each antenna is on each for as long");
  }
  if (factor != Factor::mount)
    differs(mount_of, "mount",
            "put each antenna on each mount for as long, or compare what turns with the antenna by "
            "roundel separate");
  bool overlaps = false;
  for (const auto& x : a.parts)
    for (const auto& y : b.parts) overlaps = overlaps || overlap_s(x, y) > 0;
  if (!overlaps && factor != Factor::time && alternations(a, b) < 3)
    out.push_back(
        {fmt::format("time: {} ran from {}, {} from {}", a.name, when(a), b.name, when(b)),
         "record both at once on two receivers, or alternate them daily"});
  return out;
}

}  // namespace roundel::trial
