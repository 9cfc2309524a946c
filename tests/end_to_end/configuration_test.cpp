// Mistakes in a configuration, as the person who made them meets them.
#include <gtest/gtest.h>

#include <algorithm>

#include "tests/end_to_end/harness.h"
#include "tests/program/run_program.h"

namespace roundel::end_to_end {
namespace {

// Each row puts something wrong in place of something right; `line` is where it then stands.
TEST(Configuration, AMistakeIsOneLineWithFileAndLineAndExitCode2) {
  struct Row {
    const char *name, *right, *wrong;
  };
  const Row rows[] = {
      {"unknown key", "antenna_m = 12", "antena_m = 12"},
      {"out of range", "latitude = 52.1", "latitude = 152.1"},
      {"not a number", "ground_m = 110", "ground_m = \"high\""},
      {"infinite", "ground_m = 110", "ground_m = inf"},
      {"unknown section", "[web]", "[wed]"},
      {"duplicate name", "name = \"spider\"", "name = \"collinear\""},
      {"no port", "connect = \"127.0.0.1:27411\"", "connect = \"127.0.0.1\""},
      {"port out of range", "connect = \"127.0.0.1:27411\"", "connect = \"127.0.0.1:99999\""},
      {"bad host", "connect = \"127.0.0.1:27411\"", "connect = \"12 7:1\""},
      {"undeclared antenna", "antenna = \"collinear\"", "antenna = \"whip\""},
      {"unknown layout", "layout = \"ndjson\"", "layout = \"ndjsn\""},
      {"two delimiters", "delimiter = \";\"", "delimiter = \";;\""},
      {"column nought", "address = 2", "address = 0"},
      {"syntax", "surface_m = 100", "surface_m = = 100"},
      {"key twice", "surface_m = 100", "ground_m = 100"},
      {"never writes", "write_s = 0.5", "write_s = 0"},
  };
  Folder folder;
  const auto file = folder / "roundel.toml";
  const std::string sound =
      configuration({{.name = "roof-a", .source = "connect = \"127.0.0.1:27411\""}});
  write_file(file, sound);
  EXPECT_EQ(run_program(roundeld, {"check-config", "--config", file.string()}, folder.path()).code,
            0);
  for (const Row& row : rows) {
    SCOPED_TRACE(row.name);
    std::string text = sound;
    const auto at = text.find(row.right);
    ASSERT_NE(at, text.npos);
    text.replace(at, std::string_view(row.right).size(), row.wrong);
    write_file(file, text);
    const auto line = 1 + std::count(text.begin(), text.begin() + static_cast<long>(at), '\n');
    for (const char* command : {"run", "check-config"}) {
      const Ran ran = run_program(roundeld, {command, "--config", file.string()}, folder.path());
      EXPECT_EQ(ran.code, 2) << ran.err;
      EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
      EXPECT_NE(ran.err.find(file.string() + ":" + std::to_string(line)), ran.err.npos) << ran.err;
    }
  }
}

TEST(Configuration, AFileThatIsNotThereIsExitCode2) {
  Folder folder;
  const Ran ran =
      run_program(roundeld, {"run", "--config", (folder / "no.toml").string()}, folder.path());
  EXPECT_EQ(ran.code, 2);
  EXPECT_NE(ran.err.find("no.toml"), ran.err.npos);
  EXPECT_EQ(std::count(ran.err.begin(), ran.err.end(), '\n'), 1) << ran.err;
}

}  // namespace
}  // namespace roundel::end_to_end
