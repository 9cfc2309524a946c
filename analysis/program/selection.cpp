#include "analysis/program/selection.h"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <charconv>

#include "roundel/time.h"

namespace roundel::program {
namespace {

std::optional<std::string> unless_empty(const std::string& text) {
  if (text.empty()) return std::nullopt;
  return text;
}

Result<std::optional<double>> time_or_none(const std::string& text, std::string_view where) {
  if (text.empty()) return std::nullopt;
  const auto time_s = parse_time(text);
  if (!time_s)
    return fail(Errc::bad_usage, time_s.error().what, std::string(where), time_s.error().remedy);
  return *time_s;
}

Result<schema::Selection> convert(const SelectionOptions& typed, std::string_view from_name,
                                  std::string_view to_name) {
  schema::Selection selection;
  selection.antenna = unless_empty(typed.antenna);
  selection.receiver = unless_empty(typed.receiver);
  selection.mount = unless_empty(typed.mount);
  selection.feed = unless_empty(typed.feed);
  selection.trials = typed.trials;
  const auto from_s = time_or_none(typed.from, from_name);
  if (!from_s) return tl::unexpected(from_s.error());
  const auto to_s = time_or_none(typed.to, to_name);
  if (!to_s) return tl::unexpected(to_s.error());
  selection.from_s = *from_s;
  selection.to_s = *to_s;
  if (*from_s && *to_s && **from_s >= **to_s)
    return fail(Errc::bad_usage, fmt::format("{} is not after {}", typed.to, typed.from),
                std::string(to_name), "give an end after the beginning");
  return selection;
}

}  // namespace

Result<schema::Selection> SelectionOptions::selection() const {
  return convert(*this, "--from", "--to");
}

void add_selection(CLI::App& command, SelectionOptions& options) {
  const std::string group = "Selection";
  command.add_option("--antenna", options.antenna, "only cells heard by this antenna")
      ->group(group);
  command.add_option("--receiver", options.receiver, "only cells of this receiver")->group(group);
  command.add_option("--mount", options.mount, "only cells heard on this mount")->group(group);
  command.add_option("--feed", options.feed, "only cells of this feed")->group(group);
  command.add_option("--trial", options.trials, "only cells of these trials, by number: 1,2")
      ->delimiter(',')
      ->group(group);
  command.add_option("--from", options.from, "only cells from this time on, like 2026-03-01")
      ->group(group);
  command.add_option("--to", options.to, "only cells before this time")->group(group);
}

Result<schema::Selection> parse_selection(std::string_view word, std::string_view option) {
  const auto refuse = [&](std::string what) {
    return fail(Errc::bad_usage, std::move(what), std::string(option),
                "write pairs like antenna=collinear,from=2026-03-01 with the keys antenna, "
                "receiver, mount, feed, trial, from, to");
  };
  SelectionOptions typed;
  std::string_view rest = word;
  while (!rest.empty()) {
    const std::string_view pair = rest.substr(0, rest.find(','));
    rest.remove_prefix(std::min(rest.size(), pair.size() + 1));
    const auto equals = pair.find('=');
    if (equals == std::string_view::npos || equals + 1 == pair.size())
      return refuse(fmt::format("\"{}\" is not a pair key=value", pair));
    const std::string_view key = pair.substr(0, equals);
    const std::string_view value = pair.substr(equals + 1);
    if (key == "trial") {
      schema::Id id{};
      const auto [end, error] = std::from_chars(value.data(), value.data() + value.size(), id);
      if (error != std::errc{} || end != value.data() + value.size())
        return refuse(fmt::format("\"{}\" is not the number of a trial", value));
      typed.trials.push_back(id);
      continue;
    }
    std::string* const target = key == "antenna"    ? &typed.antenna
                                : key == "receiver" ? &typed.receiver
                                : key == "mount"    ? &typed.mount
                                : key == "feed"     ? &typed.feed
                                : key == "from"     ? &typed.from
                                : key == "to"       ? &typed.to
                                                    : nullptr;
    if (!target) return refuse(fmt::format("unknown key \"{}\"", key));
    if (!target->empty()) return refuse(fmt::format("\"{}\" is given twice", key));
    *target = value;
  }
  if (word.empty()) return refuse("an empty selection");
  return convert(typed, fmt::format("{} from", option), fmt::format("{} to", option));
}

}  // namespace roundel::program
