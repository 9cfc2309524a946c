#include "roundel/feed/layout_reader.h"

#include <cassert>
#include <optional>
#include <utility>

#include "daemon/feed/assemble.h"
#include "daemon/feed/columns.h"
#include "daemon/feed/ndjson.h"
#include "daemon/feed/ndjson_flat.h"
#include "daemon/feed/pairs.h"

namespace roundel::feed {

std::vector<WantedField> wanted_fields(const config::Layout& layout) {
  std::vector<WantedField> wanted;
  const auto want = [&](std::size_t index, const std::optional<config::FieldAt>& at) {
    if (at) wanted.push_back({index, *at});
  };
  want(address_field, layout.address);
  want(latitude_field, layout.latitude);
  want(longitude_field, layout.longitude);
  want(time_field, layout.time);
  want(altitude_field, layout.altitude);
  want(signal_field, layout.signal);
  want(on_ground_field, layout.on_ground);
  want(date_field, layout.date);
  want(age_field, layout.age);
  for (std::size_t i = 0; i < layout.keep.size(); ++i) want(n_fields + i, layout.keep[i].at);
  return wanted;
}

std::string json_fault(std::string_view line) {
  const std::string_view rest = trimmed(line);
  if (rest.empty() || (rest.front() != '{' && rest.front() != '['))
    return "the line is no JSON object or array, nor the beginning of one";
  int depth = 0;
  bool in_text = false;
  for (std::size_t i = 0; i < rest.size(); ++i) {
    const char c = rest[i];
    if (in_text && c == '\\')
      ++i;
    else if (c == '"')
      in_text = !in_text;
    else if (!in_text)
      depth += c == '{' || c == '[' ? 1 : c == '}' || c == ']' ? -1 : 0;
    if (depth > 0 || i + 1 >= rest.size()) continue;
    const char next = trimmed(rest.substr(i + 1)).front();
    return next == '{' || next == '['
               ? "several JSON documents stand on one line: each needs a line of its own"
               : "something follows the JSON document on its line";
  }
  return depth > 0 ? "the JSON document goes on over several lines, or is cut off: each needs a "
                     "line of its own"
                   : "the line is not valid JSON";
}

struct LayoutReader::Impl {
  explicit Impl(const config::Layout& given)
      : layout(given), assembler(layout), values(n_fields + layout.keep.size()) {
    if (layout.kind == config::LayoutKind::columns) {
      columns.emplace(layout);
    } else if (layout.kind == config::LayoutKind::pairs) {
      pairs.emplace(layout);
    } else {
      ndjson.emplace(layout);
      if (FlatNdjsonExtractor quick(layout); quick.usable()) flat = std::move(quick);
    }
  }

  std::optional<Reject> assemble(double arrival_s, Report& report) {
    report = Report{};
    const auto reason = assembler.assemble(values, arrival_s, report);
    if (reason == Reject::malformed || reason == Reject::bad_address)
      tell([&] { return assembler.fault(values); });
    return reason;
  }
  Reject refuse_json(std::string_view line) {
    tell([&] { return json_fault(line); });
    return Reject::malformed;
  }
  // Only the first faults are told: after these the text is not even made.
  template <class Text>
  void tell(Text text) {
    if (n_told == max_told) return;
    ++n_told;
    faults.push_back(text());
  }

  const config::Layout layout;
  static constexpr int max_told = 3;
  int n_told = 0;
  std::vector<std::string> faults;
  Assembler assembler;
  std::vector<FieldValue> values;
  std::optional<ColumnsExtractor> columns;
  std::optional<PairsExtractor> pairs;
  std::optional<NdjsonExtractor> ndjson;
  std::optional<FlatNdjsonExtractor> flat;
};

LayoutReader::LayoutReader(const config::Layout& layout) : impl_(std::make_unique<Impl>(layout)) {}
LayoutReader::LayoutReader(LayoutReader&&) noexcept = default;
LayoutReader& LayoutReader::operator=(LayoutReader&&) noexcept = default;
LayoutReader::~LayoutReader() = default;

tl::expected<Report, Reject> LayoutReader::read(std::string_view line, double arrival_s) {
  tl::expected<Report, Reject> out;
  if (const auto reason = read(line, arrival_s, *out)) out = tl::unexpected(*reason);
  return out;
}

std::optional<Reject> LayoutReader::read(std::string_view line, double arrival_s, Report& report) {
  Impl& in = *impl_;
  assert(!reads_many());
  if (in.pairs) {
    in.pairs->extract(line, in.values);
  } else if (in.columns) {
    switch (in.columns->extract(line, in.values)) {
      case ColumnsExtractor::Outcome::header:
        return Reject::not_position;
      case ColumnsExtractor::Outcome::malformed:
        if (trouble().empty()) in.tell([] { return "the quoting is broken"; });
        return Reject::malformed;
      case ColumnsExtractor::Outcome::values:
        break;
    }
  } else if (!(in.flat && in.flat->extract(line, in.values)) &&
             !in.ndjson->extract(line, in.values)) {
    return in.refuse_json(line);
  }
  return in.assemble(arrival_s, report);
}

bool LayoutReader::reads_many() const { return impl_->layout.each.has_value(); }

void LayoutReader::read_each(std::string_view line, double arrival_s, const OnReport& on_report) {
  Impl& in = *impl_;
  assert(reads_many());
  Report report;
  bool is_empty = true;
  const bool is_json = in.ndjson->extract_each(line, in.values, [&] {
    is_empty = false;
    on_report(in.assemble(arrival_s, report), report);
  });
  if (!is_json)
    on_report(in.refuse_json(line), report);
  else if (is_empty)
    on_report(Reject::not_position, report);
}

std::vector<std::string> LayoutReader::take_faults() { return std::exchange(impl_->faults, {}); }

std::optional<LayoutReader> LayoutReader::another() const {
  if (impl_->layout.carry_s > 0 || !impl_->layout.zone.empty()) return std::nullopt;
  if (impl_->columns && impl_->columns->is_header_expected()) return std::nullopt;
  LayoutReader out(impl_->layout);
  out.impl_->columns = impl_->columns;
  return out;
}

const std::string& LayoutReader::trouble() const {
  static const std::string none;
  return impl_->columns ? impl_->columns->trouble() : none;
}

}  // namespace roundel::feed
