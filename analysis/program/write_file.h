// Writes a result to a file that a person named.
#pragma once
#include <string>
#include <string_view>

#include "roundel/result.h"

namespace roundel::program {

/// Replaces the file. Errc::io names it and says why.
Result<void> write_file(const std::string& file, std::string_view bytes);

}  // namespace roundel::program
