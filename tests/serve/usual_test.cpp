#include "daemon/serve/usual.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

schema::Trial trial(std::string antenna, std::int64_t start_s, std::optional<std::int64_t> stop_s) {
  return {.id = 0,
          .feed = "roof",
          .antenna = std::move(antenna),
          .receiver = "rx1",
          .mount = "gable",
          .rotation_deg = 0,
          .start_s = start_s,
          .stop_s = stop_s,
          .note = ""};
}

// As web/src/model.ts has it.
TEST(Usual, AntennaIsThatOfTheNewestTrialThatRuns) {
  EXPECT_EQ(usual_antenna({}, 2), std::nullopt);
  EXPECT_EQ(usual_antenna({trial("only", 10, {})}, 1), std::nullopt) << "nothing to choose";
  EXPECT_EQ(usual_antenna({trial("a", 10, {}), trial("b", 20, {}), trial("c", 30, 40)}, 3), "b");
  EXPECT_EQ(usual_antenna({trial("a", 10, 20), trial("b", 20, 30)}, 2), "b");
}

TEST(Usual, QuestionsHaveTheKeysOfThoseThePageAsks) {
  const TemporaryFolder folder;
  const auto store = must(schema::Store::open(sample_store(folder), schema::Store::Access::read));
  const Door door({.names = {}, .now_s = [] { return 0.0; }});
  const auto usual = usual_work(door, store);
  for (const char* target : {"/api/reach?antenna=spider", "/api/field?antenna=spider",
                             "/api/verdict?antenna=spider", "/api/drift?antenna=spider"}) {
    SCOPED_TRACE(target);
    const auto asked = door.decide(
        {.method = "GET", .target = target, .n_hosts = 1, .host = "localhost"}, nullptr);
    const auto& work = std::get<Work>(asked);
    EXPECT_TRUE(work.is_lasting);
    EXPECT_EQ(std::ranges::count(usual, work.key, &Work::key), 1);
    const auto found = std::ranges::find(usual, work.key, &Work::key);
    ASSERT_NE(found, usual.end());
    EXPECT_EQ(found->pace, work.pace);
    const auto ours = found->work(store), theirs = work.work(store);
    ASSERT_EQ(ours.has_value(), theirs.has_value());
    if (ours) {
      EXPECT_EQ(ours->body, theirs->body);
    }
  }
}

TEST(Usual, CutsOfAllSectorsAreThoseThatThePageAsksForOneByOne) {
  const TemporaryFolder folder;
  const auto store = must(schema::Store::open(sample_store(folder), schema::Store::Access::read));
  const Door door({.names = {}, .now_s = [] { return 0.0; }});
  const auto usual = usual_work(door, store);
  const auto all = std::ranges::find_if(usual, [](const Work& work) { return bool{work.many}; });
  ASSERT_NE(all, usual.end());
  const auto cuts = must(all->many(store));
  EXPECT_EQ(cuts.size(), 72u);
  for (const char* bearing_deg : {"2.5", "52.5", "357.5"}) {  // a flight is at 51 degrees
    SCOPED_TRACE(bearing_deg);
    const std::string target = std::string("/api/cut?antenna=spider&bearing_deg=") + bearing_deg;
    const auto asked = door.decide(
        {.method = "GET", .target = target, .n_hosts = 1, .host = "localhost"}, nullptr);
    const auto& work = std::get<Work>(asked);
    const auto found = std::ranges::find(cuts, work.key, &KeyedAnswer::key);
    ASSERT_NE(found, cuts.end());
    EXPECT_EQ(found->answer.body, must(work.work(store)).body);
  }
}

}  // namespace
}  // namespace roundel::serve
