// Answers that analysis concludes from the stored cells. Each reads them all, so each is slow.
#pragma once
#include "daemon/serve/routes.h"

namespace roundel::serve {

Result<Answer> reach(const Ask& ask, const schema::Store& store);
Result<Answer> field(const Ask& ask, const schema::Store& store);
/// Of the sector that holds `bearing_deg`, seen from the side.
Result<Answer> cut(const Ask& ask, const schema::Store& store);
/// The same of every sector, for one reading. @param bearings_deg  set: of each one's middle
Result<std::vector<Answer>> cuts(const Ask& ask, const schema::Store& store,
                                 std::vector<double>& bearings_deg);
Result<Answer> verdict(const Ask& ask, const schema::Store& store);
/// Of `a` and `b`, each a selection in one word: "antenna=collinear,from=2026-03-01".
Result<Answer> compare(const Ask& ask, const schema::Store& store);
Result<Answer> drift(const Ask& ask, const schema::Store& store);
/// The range to expect at the altitudes that reach draws limits for.
Result<Answer> expect(const Ask& ask, const schema::Store& store);

}  // namespace roundel::serve
