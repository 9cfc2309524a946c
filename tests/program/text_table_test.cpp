#include "analysis/program/text_table.h"

#include <gtest/gtest.h>

namespace roundel::program {
namespace {

TEST(TextTable, AlignsColumnsAndLeavesNoTrailingSpaces) {
  TextTable table({{"feed", TextTable::Align::left}, {"heard"}, {"note", TextTable::Align::left}});
  table.add({"roof", "12", ""});
  table.add({"a", "1 234", "ok"});
  EXPECT_EQ(table.text(),
            "feed  heard  note\n"
            "roof     12\n"
            "a     1 234  ok\n");
}

TEST(TextTable, CountsLettersNotBytes) {
  TextTable table({{"mount", TextTable::Align::left}, {"n"}});
  table.add({"Giebel\xc3\xbc", "1"});
  table.add({"gable", "2"});
  EXPECT_EQ(table.text(),
            "mount    n\n"
            "Giebel\xc3\xbc  1\n"
            "gable    2\n");
}

TEST(Grouped, SetsThousandsApart) {
  EXPECT_EQ(grouped(0), "0");
  EXPECT_EQ(grouped(999), "999");
  EXPECT_EQ(grouped(1000), "1 000");
  EXPECT_EQ(grouped(-1234567), "-1 234 567");
}

}  // namespace
}  // namespace roundel::program
