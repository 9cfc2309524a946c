// Values from lines of keys and values in any order.
#pragma once
#include <span>
#include <string_view>
#include <vector>

#include "daemon/feed/field_value.h"
#include "roundel/config/config.h"

namespace roundel::feed {

/// Cuts a line into keys and values: "id=4b1617 lat=52.3", or "id<tab>4b1617<tab>lat<tab>52.3"
/// where `between` is the delimiter. Several spaces are one delimiter. A value ends at the
/// delimiter; quotes have no meaning. A word without a value is a key with an empty one.
class PairSplitter {
 public:
  PairSplitter(std::string_view line, char delimiter, char between)
      : rest_(line), delimiter_(delimiter), between_(between) {}
  /// The next pair, without blanks around; false at the end.
  bool next(std::string_view& key, std::string_view& value);

 private:
  std::string_view word();

  std::string_view rest_;
  char delimiter_, between_;
};

class PairsExtractor {
 public:
  explicit PairsExtractor(const config::Layout& layout);
  /// @param values  n_fields, then one for each `keep`; where a key is repeated the first counts
  void extract(std::string_view line, std::span<FieldValue> values) const;

 private:
  char delimiter_, between_;
  std::vector<WantedField> wanted_;
};

}  // namespace roundel::feed
