// roundeld peek: a look at a feed, and a layout for it.
#include "daemon/feed/peek.h"

#include <fmt/format.h>

#include <cstdio>
#include <memory>

#include "analysis/config/address.h"
#include "daemon/feed/sample.h"
#include "daemon/program/command.h"

namespace roundel::program {
namespace {

struct PeekCommand {
  std::string source;
  std::string name = "feed";
  bool layout_only = false;
  bool json = false;
  feed::SampleLimits limits;
};

Result<feed::Sample> sample(const PeekCommand& options) {
  std::error_code ignored;
  if (options.source == "-" || std::filesystem::exists(options.source, ignored))
    return feed::sample_file(options.source, options.limits);
  // What looks like a path is one; everything else should be an address.
  const auto endpoint = config::parse_connect(options.source);
  if (endpoint) return feed::sample_endpoint(*endpoint, options.limits);
  return fail(Errc::bad_usage,
              fmt::format("no such file, and not HOST:PORT ({})", endpoint.error().what),
              options.source, "see roundeld peek --help");
}

Result<int> peek(const PeekCommand& options) {
  if (options.name.empty() || options.name == "ndjson" || options.name == "columns")
    return fail(Errc::bad_usage, fmt::format("a layout can't be named \"{}\"", options.name),
                "--name", "choose another name");
  const auto seen = sample(options);
  if (!seen) return tl::unexpected(seen.error());
  const feed::GuessedLayout guessed = feed::guess_layout(seen->lines, options.name);
  const feed::PeekOptions shown{options.source == "-" ? "standard input" : options.source,
                                seen->took_s, options.layout_only};
  const std::string text =
      options.json ? feed::peek_json(guessed, shown) : feed::peek(seen->lines, guessed, shown);
  std::fwrite(text.data(), 1, text.size(), stdout);
  if (guessed.layout) return 0;
  return fail(Errc::too_little,
              guessed.doubts.empty() ? std::string("no layout was found") : guessed.doubts.back(),
              shown.source,
              options.layout_only ? "run without --layout-only to see the sample" : "");
}

}  // namespace

void add_peek(CLI::App& app, Run& run) {
  const auto options = std::make_shared<PeekCommand>();
  CLI::App* command = app.add_subcommand(
      "peek", "Show a live sample, guess the layout, print a ready [layout] table");
  command
      ->add_option("source", options->source,
                   "HOST:PORT, or a FILE (plain or gzip; - is standard input)")
      ->required()
      ->type_name("HOST:PORT|FILE");
  command->add_flag("--layout-only", options->layout_only, "Print the [layout] table alone");
  command->add_flag("--json", options->json, "Print for programs");
  command->add_option("--name", options->name, "Name of the layout")->capture_default_str();
  command->add_option("--lines", options->limits.max_lines, "Look at this many lines at most")
      ->check(CLI::Range(1, 3000))
      ->capture_default_str();
  command->add_option("--seconds", options->limits.max_s, "Listen for this long at most")
      ->check(CLI::Range(0.1, 3600.0))
      ->capture_default_str();
  command->callback([options, &run] { run = [options] { return peek(*options); }; });
}

}  // namespace roundel::program
