// The secret by which aircraft addresses are replaced, where the configuration asks for it.
#pragma once
#include <cstdint>
#include <filesystem>

#include "roundel/result.h"
#include "roundel/siphash.h"

namespace roundel::record {

/// The key that stands beside the database, in FILE.key, as 32 hex digits; made, from the system's
/// random numbers and readable by its owner alone, where it is missing. Whoever deletes it makes
/// sure that addresses recorded so far can never be found again; flights are told apart all the
/// same, but an aircraft heard before and after counts as two.
/// Errc: io (cannot be read or made), malformed.
Result<SipKey> address_key(const std::filesystem::path& database);

/// What is recorded instead of a 24-bit address: 31 bits of its keyed hash, above any address.
std::uint32_t hidden_address(const SipKey& key, std::uint32_t address);

}  // namespace roundel::record
