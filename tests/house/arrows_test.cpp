// The one-way arrows between folders and rooms, read from what the sources include: system headers
// are visible to every target, so the build alone would not notice.
#include <gtest/gtest.h>

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <map>
#include <regex>
#include <set>
#include <string>
#include <vector>

namespace roundel {
namespace {

namespace fs = std::filesystem;

struct Include {
  std::string from, what;  // both relative to the root, or the name of a system header
  bool is_ours;
};

std::vector<Include> includes() {
  static const std::regex pattern(R"re(^\s*#\s*include\s*([<"])([^">]+)[">])re");
  std::vector<Include> out;
  for (const char* folder : {"include", "schema", "analysis", "daemon"}) {
    for (const auto& entry : fs::recursive_directory_iterator(fs::path(ROUNDEL_ROOT) / folder)) {
      const auto extension = entry.path().extension();
      if (extension != ".h" && extension != ".cpp") continue;
      std::ifstream in(entry.path());
      for (std::string line; std::getline(in, line);) {
        std::smatch match;
        if (std::regex_search(line, match, pattern))
          out.push_back(
              {fs::relative(entry.path(), ROUNDEL_ROOT).string(), match[2], match[1] == "\""});
      }
    }
  }
  return out;
}

// "daemon/feed/x.h" -> {"daemon", "feed"}; a file of the folder itself has no room.
std::pair<std::string, std::string> place(const std::string& file) {
  const auto first = file.find('/');
  const auto second = file.find('/', first + 1);
  return {file.substr(0, first),
          second == file.npos ? "" : file.substr(first + 1, second - first - 1)};
}

// 0 schema, 1 analysis, 2 daemon: where the source of a public header's room lives.
int layer_of_public(const std::string& header) {
  const std::string room = place(header).second;  // roundel/ROOM/x.h
  static const std::set<std::string> daemon{"feed", "record", "serve"};
  if (room.empty() || room == "schema") return 0;
  return daemon.contains(room) ? 2 : 1;
}

int layer_of(const std::string& file) {
  const std::string folder = place(file).first;
  if (folder == "include") return layer_of_public(file.substr(std::string("include/").size()));
  return folder == "schema" ? 0 : folder == "analysis" ? 1 : 2;
}

TEST(Arrows, NothingLooksUp) {
  const auto all = includes();
  ASSERT_GT(all.size(), 1000U) << "the sources were not found";
  for (const Include& include : all) {
    if (!include.is_ours) continue;
    const int target = include.what.starts_with("roundel/") ? layer_of_public(include.what)
                                                            : layer_of(include.what);
    EXPECT_LE(target, layer_of(include.from)) << include.from << " includes " << include.what;
  }
}

TEST(Arrows, PublicHeadersIncludeNoPrivateOnes) {
  for (const Include& include : includes()) {
    if (!include.is_ours || !include.from.starts_with("include/")) continue;
    EXPECT_TRUE(include.what.starts_with("roundel/"))
        << include.from << " includes " << include.what;
  }
}

TEST(Arrows, LibrariesStayWhereTheyBelong) {
  struct Row {
    const char* name;
    std::regex header, allowed_in;
  };
  const Row rows[] = {
      {"SQLite in the store", std::regex("^sqlite3"), std::regex("^schema/")},
      {"sockets in the daemon",
       std::regex("^(boost/(asio|beast)|sys/socket|netinet/|netdb|sys/un)"),
       std::regex("^daemon/")},
      {"TOML in the configuration", std::regex("^toml\\+\\+"),
       std::regex("^analysis/(config|simulate)/")},
      {"the command line in the programs", std::regex("^CLI/"),
       std::regex("^(analysis|daemon)/program/")},
      {"logging in the daemon", std::regex("^spdlog/"), std::regex("^daemon/")},
      {"JSON out of headers", std::regex("^(nlohmann|boost/json|simdjson)"),
       std::regex("\\.cpp$|^analysis/present/json.h$|^daemon/")},
      {"estimation in the analysis", std::regex("^(Eigen|boost/math)/"),
       std::regex("^(analysis|include/roundel)/")},
  };
  for (const Row& row : rows) {
    int n_met = 0;
    for (const Include& include : includes()) {
      if (include.is_ours || !std::regex_search(include.what, row.header)) continue;
      ++n_met;
      EXPECT_TRUE(std::regex_search(include.from, row.allowed_in))
          << row.name << ": " << include.from << " includes <" << include.what << ">";
    }
    EXPECT_GT(n_met, 0) << row.name << ": nothing includes it, the rule checks nothing";
  }
}

// Rooms that use another's private headers, each with its reason. A public header is the way.
TEST(Arrows, RoomsMeetInPublicHeaders) {
  const std::map<std::string, std::set<std::string>> allowed{
      // The programs put the rooms of their side together.
      {"daemon/program",
       {"daemon/feed", "daemon/record", "daemon/serve", "analysis/config", "analysis/program"}},
      {"analysis/program", {"analysis/simulate", "analysis/present", "analysis/config"}},
      // Scenarios are read with the same care as configurations.
      {"analysis/simulate", {"analysis/config"}},
      // Passes over all cells look flights and horizons up alike.
      {"analysis/trial", {"analysis/pattern"}},
      // What a connection hands over is what is recorded.
      {"daemon/record", {"daemon/feed"}},
  };
  for (const Include& include : includes()) {
    if (!include.is_ours || include.what.starts_with("roundel/")) continue;
    const auto [from_folder, from_room] = place(include.from);
    const auto [folder, room] = place(include.what);
    if (room.empty() || (from_folder == folder && from_room == room)) continue;
    const auto found = allowed.find(from_folder + "/" + from_room);
    EXPECT_TRUE(found != allowed.end() && found->second.contains(folder + "/" + room))
        << include.from << " includes " << include.what;
  }
}

TEST(ReferenceValues, AreListedFileForFile) {
  const fs::path folder = fs::path(ROUNDEL_ROOT) / "tests/reference";
  std::ifstream in(folder / "README.md");
  const std::string text{std::istreambuf_iterator<char>(in), {}};
  const std::regex name("`([a-z0-9_]+\\.csv)`");
  std::set<std::string> named, there;
  for (std::sregex_iterator it(text.begin(), text.end(), name), end; it != end; ++it)
    named.insert((*it)[1]);
  for (const auto& entry : fs::directory_iterator(folder / "data"))
    there.insert(entry.path().filename().string());
  EXPECT_EQ(named, there);
}

}  // namespace
}  // namespace roundel
