#include "daemon/serve/fair_queue.h"

#include <gtest/gtest.h>

#include <string>

namespace roundel::serve {
namespace {

class FairQueueTest : public testing::Test {
 protected:
  /// What had no place, or nothing.
  std::string push(const std::string& client, const std::string& item) {
    return queue_.push(client, item).value_or("");
  }
  std::string pop_all() {
    std::string out;
    while (!queue_.empty()) out += queue_.pop() + " ";
    return out;
  }

  FairQueue<std::string> queue_{4};
};

TEST_F(FairQueueTest, ClientsTakeTurns) {
  for (const char* item : {"a1", "a2", "a3"}) push("a", item);
  push("b", "b1");
  EXPECT_EQ(pop_all(), "a1 b1 a2 a3 ");
}

TEST_F(FairQueueTest, WhoHadATurnStandsBehindWhoHadNone) {
  for (const char* item : {"a1", "a2", "a3"}) push("a", item);
  EXPECT_EQ(queue_.pop(), "a1");
  push("a", "a4");
  push("b", "b1");
  EXPECT_EQ(pop_all(), "b1 a2 a3 a4 ");
}

TEST_F(FairQueueTest, OneClientMayTakeAllPlacesWhileNobodyElseWantsOne) {
  for (const char* item : {"a1", "a2", "a3", "a4"}) EXPECT_EQ(push("a", item), "");
  EXPECT_EQ(push("a", "a5"), "a5") << "it has what there is";
  EXPECT_EQ(push("b", "b1"), "a4") << "the last of who has most makes room";
  EXPECT_EQ(push("c", "c1"), "a3");
  EXPECT_EQ(push("d", "d1"), "a2");
  EXPECT_EQ(push("e", "e1"), "e1") << "all have one";
  EXPECT_EQ(pop_all(), "a1 b1 c1 d1 ");
}

TEST_F(FairQueueTest, WhatAnotherWantsTooComesInThatOnesTurn) {
  for (const char* item : {"a1", "a2", "a3"}) push("a", item);
  queue_.share("b", "a3");
  EXPECT_EQ(pop_all(), "a1 a3 a2 ");
  queue_.share("b", "gone");
  EXPECT_TRUE(queue_.empty());
}

TEST_F(FairQueueTest, WhatIsTakenOutLeavesItsPlace) {
  for (const char* item : {"a1", "a2", "a3", "a4"}) push("a", item);
  queue_.remove("a2");
  EXPECT_EQ(push("a", "a5"), "");
  EXPECT_EQ(pop_all(), "a1 a3 a4 a5 ");
}

}  // namespace
}  // namespace roundel::serve
