// What is to be done for a request that needs the database.
#pragma once
#include <cstddef>
#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "daemon/serve/answer.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// How long an answer takes to work out, in a large record: milliseconds; a moment, for what the
/// page draws first; long. So that none waits behind a longer one.
enum class Pace : std::uint8_t { quick, drawn, slow };

struct KeyedAnswer {
  std::string key;
  Answer answer;
};

struct Work {
  Pace pace = Pace::quick;
  std::string key{};         ///< same key, same data: same answer. Empty: never kept.
  bool may_age = false;      ///< may be given although newer cells are not in it
  bool is_lasting = false;   ///< about the record as it grows, to its newest cell
  bool must_be_new = false;  ///< whoever asks said so: newer than the question
  std::function<Result<Answer>(const schema::Store&)> work{};
  std::function<Result<Answer>(schema::Store&)> change{};  ///< instead of `work`
  /// Instead of `work`: the answers to several questions that cost little more than one. They are
  /// kept under their keys; nobody asks for this one.
  std::function<Result<std::vector<KeyedAnswer>>(const schema::Store&)> many{};
};

}  // namespace roundel::serve
