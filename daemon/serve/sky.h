// Who is in the sky: the last minutes of each aircraft, for the map.
#pragma once
#include "daemon/serve/routes.h"

namespace roundel::serve {

/// Cells of the last ten minutes of the record, by flight, and the farthest heard of its last hour.
/// Reads that hour's cells.
Result<Answer> sky(const Ask& ask, const schema::Store& store);

}  // namespace roundel::serve
