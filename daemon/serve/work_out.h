// From work to an answer, on the caller's thread.
#pragma once
#include <chrono>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "daemon/serve/answer.h"
#include "daemon/serve/current_store.h"
#include "daemon/serve/work.h"

namespace roundel::serve {

/// An answer, and what it took of the processor's time: of the whole program, as it has others work
/// for it (pattern/relay.h). Waiting for processes beside it costs nobody anything.
struct Worked {
  std::shared_ptr<const Rendered> answer;
  std::chrono::nanoseconds took{};
  std::vector<std::pair<std::string, std::shared_ptr<const Rendered>>> others{};  ///< by key
};

/// A fault becomes an answer of status 500, and a line in the log.
Worked work_out(const Work& work, CurrentStore& store);

/// What a verdict has used the allocator would keep for the next: 100 MB, in an hour.
void give_back_memory();

}  // namespace roundel::serve
