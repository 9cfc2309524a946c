// --help of both programs, all commands: fits a screen, ends with an example, and the manual pages
// know every command and option of it.
#include <gmock/gmock.h>

#include <fstream>
#include <iterator>
#include <regex>
#include <sstream>

#include "tests/program/run_program.h"
#include "tests/schema/store_fixture.h"

namespace roundel {
namespace {

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  std::istringstream in(text);
  for (std::string line; std::getline(in, line);) lines.push_back(line);
  return lines;
}

struct Help {
  std::string command;  // "roundel trial start"
  std::string text;
};

/// A command's help and that of the commands under it.
void collect(const std::string& program, std::vector<std::string> words,
             const std::filesystem::path& scratch, std::vector<Help>& out) {
  std::string command = program.substr(program.rfind('/') + 1);
  for (const std::string& word : words)
    if (word != "roundel.db") command += ' ' + word;
  auto asked = words;
  asked.push_back("--help");
  const Ran ran = run_program(program, asked, scratch);
  EXPECT_EQ(ran.code, 0) << command;
  out.push_back({command, ran.out});
  bool below = false;
  for (const std::string& line : lines_of(ran.out)) {
    if (line == "Subcommands:") below = true;
    std::smatch found;
    if (!below || !std::regex_search(line, found, std::regex("^  ([a-z][a-z-]*) "))) continue;
    auto deeper = words;
    // What `roundel trial` is about stands before its own commands.
    if (command == "roundel trial") deeper.emplace_back("roundel.db");
    deeper.push_back(found[1]);
    collect(program, deeper, scratch, out);
  }
}

class Helps : public testing::Test {
 protected:
  void SetUp() override {
    collect(ROUNDEL_BINARY_DIR "/analysis/program/roundel", {}, folder_ / ".", all_);
    collect(ROUNDEL_BINARY_DIR "/daemon/program/roundeld", {}, folder_ / ".", all_);
  }
  static std::string manual(const std::string& command) {
    std::ifstream in(ROUNDEL_SOURCE_DIR "/docs/man/" + command.substr(0, command.find(' ')) + ".1");
    std::string text(std::istreambuf_iterator<char>(in), {});
    return std::regex_replace(text, std::regex("\\\\-"), "-");
  }
  schema::Folder folder_;
  std::vector<Help> all_;
};

// A screen: 100 columns of 36 lines (common practice, no source).
TEST_F(Helps, FitAScreenAndEndWithAnExample) {
  EXPECT_GE(all_.size(), 17u);
  for (const Help& help : all_) {
    const auto lines = lines_of(help.text);
    EXPECT_LE(lines.size(), 36u) << help.command;
    for (const std::string& line : lines)
      EXPECT_LE(line.size(), 100u) << help.command << ": " << line;
    EXPECT_THAT(help.text, testing::HasSubstr("Example: " + help.command.substr(0, 7)))
        << help.command;
  }
}

TEST_F(Helps, AreAllInTheManual) {
  for (const Help& help : all_) {
    const std::string page = manual(help.command);
    ASSERT_FALSE(page.empty()) << help.command;
    const auto word = help.command.rfind(' ');
    if (word != std::string::npos) {
      EXPECT_THAT(page, testing::HasSubstr(help.command.substr(word + 1))) << help.command;
    }
    const std::regex option("--[a-z][a-z-]+");
    for (std::sregex_iterator it(help.text.begin(), help.text.end(), option), end; it != end; ++it)
      EXPECT_THAT(page, testing::HasSubstr(it->str())) << help.command;
  }
}

TEST_F(Helps, NameExitCodesThatTheManualLists) {
  int n_found = 0;
  for (const Help& help : all_) {
    const std::string page = manual(help.command);
    const std::string codes = page.substr(page.find(".SH EXIT STATUS"));
    const std::regex code("exit with ([0-9])");
    for (std::sregex_iterator it(help.text.begin(), help.text.end(), code), end; it != end; ++it) {
      EXPECT_THAT(codes.substr(0, codes.find(".SH EXAMPLES")), testing::HasSubstr((*it)[1].str()))
          << help.command;
      ++n_found;
    }
  }
  EXPECT_GT(n_found, 0);
}

TEST_F(Helps, ManualPagesAreFreeOfWarnings) {
  for (const char* page : {"roundel.1", "roundeld.1"}) {
    const Ran ran = run_program("groff",
                                {"-man", "-ww", "-z", "-Tutf8", "-rLL=80n",
                                 std::string(ROUNDEL_SOURCE_DIR "/docs/man/") + page},
                                folder_ / ".");
    EXPECT_EQ(ran.code, 0) << page;
    EXPECT_EQ(ran.err, "") << page;
  }
}

}  // namespace
}  // namespace roundel
