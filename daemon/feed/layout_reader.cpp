#include "roundel/feed/layout_reader.h"

#include <optional>

#include "daemon/feed/assemble.h"
#include "daemon/feed/columns.h"
#include "daemon/feed/ndjson.h"
#include "daemon/feed/ndjson_flat.h"

namespace roundel::feed {

struct LayoutReader::Impl {
  explicit Impl(const config::Layout& given)
      : layout(given), assembler(layout), values(n_fields + layout.keep.size()) {
    if (layout.kind == config::LayoutKind::columns) {
      columns.emplace(layout);
    } else {
      ndjson.emplace(layout);
      if (FlatNdjsonExtractor quick(layout); quick.usable()) flat = std::move(quick);
    }
  }

  const config::Layout layout;
  Assembler assembler;
  std::vector<FieldValue> values;
  std::optional<ColumnsExtractor> columns;
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
  if (in.columns) {
    switch (in.columns->extract(line, in.values)) {
      case ColumnsExtractor::Outcome::header:
        return Reject::not_position;
      case ColumnsExtractor::Outcome::malformed:
        return Reject::malformed;
      case ColumnsExtractor::Outcome::values:
        break;
    }
  } else if (!(in.flat && in.flat->extract(line, in.values)) &&
             !in.ndjson->extract(line, in.values)) {
    return Reject::malformed;
  }
  report = Report{};
  return in.assembler.assemble(in.values, arrival_s, report);
}

std::optional<LayoutReader> LayoutReader::another() const {
  if (impl_->layout.carry_s > 0) return std::nullopt;
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
