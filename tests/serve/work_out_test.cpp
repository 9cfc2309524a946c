#include "daemon/serve/work_out.h"

#include <gtest/gtest.h>

#include <atomic>
#include <stdexcept>
#include <string>

#include "tests/serve/sample_store.h"

namespace roundel::serve {
namespace {

class WorkOutTest : public testing::Test {
 protected:
  Answer answer(std::function<Result<Answer>(const schema::Store&)> what) {
    return work_out({.work = std::move(what)}, store_).answer->answer;
  }

  TemporaryFolder folder_;
  std::atomic<bool> is_over_ = false;
  CurrentStore store_{sample_store(folder_), &is_over_};
};

TEST_F(WorkOutTest, AnswersErrors) {
  EXPECT_EQ(answer([](const auto&) { return fail(Errc::busy, "locked"); }).status, 503);
  EXPECT_EQ(answer([](const auto&) { return Answer{}; }).status, 200);
}

TEST_F(WorkOutTest, AFaultInOneAnswerIsNotTheEndOfTheNext) {
  const auto broken =
      answer([](const auto&) -> Result<Answer> { throw std::logic_error("broken"); });
  EXPECT_EQ(broken.status, 500);
  EXPECT_EQ(broken.body.find("broken"), std::string::npos) << "kept for the log";
  EXPECT_EQ(answer([](const auto&) { return Answer{}; }).status, 200);
}

TEST_F(WorkOutTest, ReadingEndsOnceNobodyWaits) {
  const auto read = [&](const schema::Store& store) -> Result<Answer> {
    const auto beside = must(store.reopened());
    for (const schema::Store* one : {&store, &beside}) {
      int n_cells = 0;
      const auto count = [&](const schema::Cell&) {
        ++n_cells;
        return true;
      };
      is_over_ = false;
      EXPECT_TRUE(one->each_cell({}, count));
      EXPECT_GT(n_cells, 0);
      is_over_ = true;
      EXPECT_FALSE(one->each_cell({}, count));
    }
    return Answer{};
  };
  EXPECT_EQ(answer(read).status, 200);
}

}  // namespace
}  // namespace roundel::serve
