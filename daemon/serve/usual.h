// What the page asks for first.
#pragma once
#include <optional>
#include <string>
#include <vector>

#include "daemon/serve/door.h"
#include "daemon/serve/work.h"
#include "roundel/schema/store.h"

namespace roundel::serve {

/// Of several antennas the page shows that of the newest trial, those that run before those that
/// have ended. None: there is just one, or none.
std::optional<std::string> usual_antenna(const std::vector<schema::Trial>& trials,
                                         std::size_t n_antennas);

/// What takes long of the questions of a page that is opened without a choice; by the same keys.
/// None where the database does not tell.
/// @param door  outlives them
std::vector<Work> usual_work(const Door& door, const schema::Store& store);

}  // namespace roundel::serve
