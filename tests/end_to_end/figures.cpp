// Prints what one hour of two feeds over TCP comes to, and what a kill in mid-feed loses.
// Usage: figures (about 20 s)
#include <fmt/format.h>
#include <signal.h>

#include <algorithm>
#include <cstdio>
#include <exception>

#include "tests/end_to_end/harness.h"

namespace roundel::end_to_end {
namespace {

template <class... Args>
void print(fmt::format_string<Args...> format, Args&&... args) {
  std::fputs(fmt::format(format, std::forward<Args>(args)...).c_str(), stdout);
  std::fflush(stdout);
}

std::string connect(const Source& source) {
  return fmt::format("connect = \"127.0.0.1:{}\"", source.port());
}

double seconds_since(Clock::time_point start) {
  return std::chrono::duration<double>(Clock::now() - start).count();
}

void print_reach(const Json& reach) {
  int n_reached = 0;
  double most = 0;
  for (const Json& sector : reach["sectors"]) {
    if (sector["reach_km"].is_null()) continue;
    ++n_reached;
    most = std::max(most, sector["ratio"].get<double>());
  }
  const Json& farthest = reach["farthest"];
  print("reach      {} sectors, {} with a reach; farthest {:.0f} km of {:.0f} km to the horizon;\n",
        reach["sectors"].size(), n_reached, farthest["reach_km"].get<double>(),
        farthest["horizon_km"].get<double>());
  print("           no sector beyond {:.1f} % of the horizon (limit: 105 %)\n", 100 * most);
}

void show_hour(const Folder& folder) {
  const auto config = folder / "roundel.toml";
  const std::string database = (folder / "roundel.db").string();
  Source a, b;
  write_file(config,
             configuration(
                 {{.name = "roof-a", .source = connect(a)},
                  {.name = "roof-b", .source = connect(b), .antenna = "spider", .receiver = "rx2"}},
                 5));
  const auto n_a = lines_of(folder / "roof-a.ndjson").size();
  const auto n_b = lines_of(folder / "roof-b.ndjson").size();
  Daemon daemon(config);
  const auto start = Clock::now();
  std::thread other([&] { b.send(read_file(folder / "roof-b.ndjson")); });
  a.send(read_file(folder / "roof-a.ndjson"));
  other.join();
  a.hang_up();
  b.hang_up();
  eventually(
      [&] { return daemon.has_read_to_the_end("roof-a") && daemon.has_read_to_the_end("roof-b"); });
  const double took_s = seconds_since(start);
  const Answer page = get(daemon.page_port(), "/");
  const Answer reach = get(daemon.page_port(), "/api/reach");
  const auto asked = Clock::now();
  const auto code = daemon.stop();

  const Json reports = run_json({roundel, "status", database, "--json"})["reports"];
  print("One hour of two feeds over TCP, replayed in {:.1f} s\n", took_s);
  print("sent       {} lines ({} + {})\n", n_a + n_b, n_a, n_b);
  print("received   {}\n", reports["received"].get<std::int64_t>());
  print("           = {} stored + {} repeats", reports["stored"].get<std::int64_t>(),
        reports["repeats"].get<std::int64_t>());
  for (const auto& [reason, count] : reports["rejected"].items())
    print(" + {} {}", count.get<std::int64_t>(), reason);
  print("; {} unaccounted for\n", unaccounted(reports));
  print_reach(run_json({roundel, "reach", database, "--json"}));
  print("page       GET / {} ({} bytes), GET /api/reach {} ({} bytes)\n", page.status,
        page.body.size(), reach.status, reach.body.size());
  print("SIGTERM    exit code {} after {:.2f} s\n\n", code.value_or(-1), seconds_since(asked));
}

void show_kill(const Folder& folder) {
  constexpr double write_s = 5, run_s = 13, lines_per_s = 4000;
  const auto config = folder / "roundel.toml";
  const auto database = folder / "roundel.db";
  std::filesystem::remove(database);
  Source source;
  write_file(config, configuration({{.name = "roof-a", .source = connect(source)}}, write_s));
  const auto lines = lines_of(folder / "roof-a.ndjson");
  Daemon daemon(config);
  std::size_t n_sent = 0;
  const auto start = Clock::now();
  for (double passed_s = 0; passed_s < run_s; passed_s = seconds_since(start)) {
    const std::size_t due =
        std::min(lines.size(), static_cast<std::size_t>(passed_s * lines_per_s));
    if (due > n_sent && !source.send(joined(lines, n_sent, due))) break;
    n_sent = due;
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  }
  daemon.process().signal(SIGKILL);
  daemon.process().wait();
  const std::string state = integrity(database);
  const Json reports = run_json({roundel, "status", database.string(), "--json"})["reports"];
  const auto kept = reports["received"].get<std::size_t>();
  print("kill -9 in mid-feed, {:.0f} s after the start, write interval {:.0f} s\n", run_s, write_s);
  print("sent       {} lines at {:.0f} a second\n", n_sent, lines_per_s);
  print("kept       {}, {} unaccounted for: the last {:.2f} s are lost\n", kept,
        unaccounted(reports), static_cast<double>(n_sent - kept) / lines_per_s);
  print("integrity  {}\n", state);
}

}  // namespace
}  // namespace roundel::end_to_end

int main() {
  using namespace roundel::end_to_end;
  try {
    const Folder folder;
    simulate_hour(folder.path());
    show_hour(folder);
    show_kill(folder);
    return 0;
  } catch (const std::exception& error) {
    std::fprintf(stderr, "figures: %s\n", error.what());
    return 1;
  }
}
