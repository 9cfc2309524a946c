#include "daemon/serve/work_out.h"

#include <malloc.h>
#include <spdlog/spdlog.h>

#include <ctime>
#include <exception>
#include <utility>

namespace roundel::serve {

namespace {

std::chrono::nanoseconds cpu_time() {
  timespec now{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &now);
  return std::chrono::seconds(now.tv_sec) + std::chrono::nanoseconds(now.tv_nsec);
}

Worked answer_to(const Work& work, CurrentStore& store) {
  if (work.change) {
    auto writable = store.open_to_change();
    if (!writable) return {rendered(problem(503, writable.error().line()))};
    return {rendered(work.change(*writable))};
  }
  const auto readable = store.open();
  if (!readable) return {rendered(problem(503, readable.error().line()))};
  // What the next commit outdates is not worth packing well.
  const Effort effort = work.may_age ? Effort::usual : Effort::little;
  if (!work.many) return {rendered(work.work(**readable), effort)};
  auto several = work.many(**readable);
  if (!several) return {rendered(problem(several.error()))};
  Worked out{rendered(Answer{})};
  for (KeyedAnswer& one : *several) {
    Rendered made = render(std::move(one.answer));
    // Unpacked for the rare client that wants it so: they are many, and wait long.
    if (!made.gzipped.empty()) std::string().swap(made.answer.body);
    out.others.emplace_back(std::move(one.key), std::make_shared<const Rendered>(std::move(made)));
  }
  return out;
}

}  // namespace

void give_back_memory() {
#ifdef __GLIBC__
  ::malloc_trim(0);
#endif
}

Worked work_out(const Work& work, CurrentStore& store) {
  const auto begun = cpu_time();
  try {
    Worked made = answer_to(work, store);
    made.took = cpu_time() - begun;
    return made;
  } catch (const std::exception& fault) {
    // A fault of ours in one answer must not end the recording beside it.
    spdlog::error("web: an answer failed: {}", fault.what());
    return {rendered(problem(500, "this answer failed; the log says how")), {}};
  }
}

}  // namespace roundel::serve
