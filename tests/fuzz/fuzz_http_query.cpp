// A request's target, and its fields, are read or refused; what is read keeps its promises. The
// input is a target, a line feed, and one text taken as each of the fields.
#include <cmath>
#include <string>
#include <string_view>

#include "daemon/serve/query.h"
#include "daemon/serve/request.h"
#include "tests/fuzz/check.h"

namespace {

using namespace roundel;

void check_refusal(const Error& error) {
  FUZZ_CHECK(error.code == Errc::malformed || error.code == Errc::bad_usage ||
             error.code == Errc::out_of_range);
  FUZZ_CHECK(!error.what.empty());
}

void check_selection(const Result<schema::Selection>& which) {
  if (!which) return check_refusal(which.error());
  for (const schema::Id trial : which->trials) FUZZ_CHECK(trial > 0);
  for (const auto& time_s : {which->from_s, which->to_s}) {
    FUZZ_CHECK(!time_s || std::isfinite(*time_s));
  }
  FUZZ_CHECK(!which->from_s || !which->to_s || *which->from_s < *which->to_s);
}

}  // namespace

int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  const std::string_view target_text = text.substr(0, text.find('\n'));
  const std::string_view field = text.substr(std::min(target_text.size() + 1, text.size()));

  const serve::Target target = serve::read_target(target_text);
  if (target.is_valid) FUZZ_CHECK(target.path.starts_with('/'));
  const auto query = serve::Query::parse(target.query);
  if (query) {
    check_selection(serve::read_selection(*query));
    const auto bearing_deg = serve::read_number(*query, "bearing_deg", 0, 360, 0);
    FUZZ_CHECK(!bearing_deg || (*bearing_deg >= 0 && *bearing_deg <= 360));
    for (const char* key : {"a", "b", "trial"}) {
      if (const auto word = query->get(key)) check_selection(serve::read_selection(*word));
    }
  } else {
    check_refusal(query.error());
  }
  check_selection(serve::read_selection(field));

  // A name is ours only as it stands, whatever surrounds it.
  if (serve::is_own_host(field, {})) {
    FUZZ_CHECK(field.find_first_of("@/?# \t") == std::string_view::npos);
  }
  serve::accepts_gzip(field);
  if (serve::names_tag(field, "\"tag\"")) {
    FUZZ_CHECK(field.find('*') != std::string_view::npos ||
               field.find("\"tag\"") != std::string_view::npos);
  }
  FUZZ_CHECK(serve::is_equal_in_constant_time(field, field));
  FUZZ_CHECK(serve::is_equal_in_constant_time(field, target_text) == (field == target_text));
  return 0;
}
