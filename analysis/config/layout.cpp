#include "analysis/config/layout.h"

#include <fmt/format.h>

#include <array>

#include "analysis/config/checked_table.h"

namespace roundel::config {
namespace {

FieldAt at(std::string name) { return {.column = std::nullopt, .name = std::move(name)}; }

// A JSON Pointer begins with "/", and "~" stands only before 0 or 1 (RFC 6901, section 3).
bool is_pointer(std::string_view text) {
  if (!text.starts_with('/')) return false;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (text[i] == '~' && (i + 1 == text.size() || (text[i + 1] != '0' && text[i + 1] != '1')))
      return false;
  return true;
}

class LayoutTable {
 public:
  LayoutTable(const CheckedTable& table, Layout& layout, const std::string& title,
              const std::string& file)
      : table_(table), layout_(layout), title_(title), file_(file) {}

  Result<FieldAt> field(std::string_view key) const {
    const Value& value = *table_.value(key);
    const bool is_columns = layout_.kind == LayoutKind::columns;
    if (value.kind == Value::Kind::integer) {
      if (!is_columns)
        return table_.refuse(key, fmt::format("{} is a column, but kind is \"ndjson\"", key),
                             fmt::format("write a JSON Pointer: {} = \"/{}\"", key, key));
      if (value.integer < 1 || value.integer > 256)
        return table_.refuse(key, fmt::format("{} is {}", key, value.integer), "use 1 to 256");
      return FieldAt{.column = static_cast<int>(value.integer), .name = {}};
    }
    if (is_columns) {
      if (value.text.empty() || value.text.starts_with('/'))
        return table_.refuse(key, fmt::format("{} is {}", key, shown(value.text)),
                             "kind is \"columns\": write a column number or a header name");
      if (auto ok = needs_header(table_, key); !ok) return tl::unexpected(ok.error());
    } else if (!is_pointer(value.text)) {
      return table_.refuse(key, fmt::format("{} {} is not a JSON Pointer", key, shown(value.text)),
                           fmt::format("write it like \"/{}\"", key));
    }
    return at(value.text);
  }

  Result<std::optional<FieldAt>> optional_field(std::string_view key) const {
    if (!table_.has(key)) return std::nullopt;
    const auto out = field(key);
    if (!out) return tl::unexpected(out.error());
    return *out;
  }

  Result<Keep> keep(const Value& item) const {
    auto read = CheckedTable::make(&item, "keep", title_ + " keep", file_);
    if (!read) return tl::unexpected(read.error());
    const bool is_columns = layout_.kind == LayoutKind::columns;
    if (read->has("column") + read->has("name") + read->has("pointer") != 1)
      return read->refuse({}, "needs one of column, name and pointer");
    if (read->has("pointer") == is_columns)
      return read->refuse({}, is_columns ? "has a pointer, but kind is \"columns\""
                                         : "has no pointer, but kind is \"ndjson\"");
    Keep out;
    out.equals = read->texts("equals");
    if (out.equals.empty()) return read->refuse("equals", "equals is an empty list");
    if (read->has("column")) {
      out.at.column = read->integer("column");
      return out;
    }
    const std::string_view key = is_columns ? "name" : "pointer";
    out.at.name = read->text(key);
    if (is_columns) {
      if (auto ok = needs_header(*read, key); !ok) return tl::unexpected(ok.error());
    } else if (!is_pointer(out.at.name)) {
      return read->refuse(key, fmt::format("pointer {} is not a JSON Pointer", shown(out.at.name)),
                          "it begins with \"/\"");
    }
    return out;
  }

 private:
  // A name is looked up in the header line: having one says that there is a header.
  Result<void> needs_header(const CheckedTable& where, std::string_view key) const {
    if (table_.has("header") && !table_.boolean("header"))
      return where.refuse(key, fmt::format("{} is a header name, but header is false", key),
                          "set header = true, or give the column's number");
    layout_.header = true;
    return {};
  }

  const CheckedTable& table_;
  Layout& layout_;
  const std::string& title_;
  const std::string& file_;
};

// Two fields that must differ cannot stand in one place.
Result<void> check_distinct(const CheckedTable& table, const Layout& layout) {
  const std::array<std::pair<std::string_view, const FieldAt*>, 3> fields{
      {{"address", &layout.address},
       {"latitude", &layout.latitude},
       {"longitude", &layout.longitude}}};
  for (std::size_t i = 0; i < fields.size(); ++i)
    for (std::size_t j = i + 1; j < fields.size(); ++j)
      if (*fields[i].second == *fields[j].second)
        return table.refuse(fields[j].first, fmt::format("{} and {} stand in the same place",
                                                         fields[i].first, fields[j].first));
  return {};
}

}  // namespace

Layout default_ndjson() {
  Layout out;
  out.name = "ndjson";
  out.kind = LayoutKind::ndjson;
  out.address = at("/address");
  out.latitude = at("/latitude");
  out.longitude = at("/longitude");
  out.time = at("/time");
  out.altitude = at("/altitude_ft");
  out.signal = at("/signal_dbfs");
  return out;
}

Layout default_columns() {
  Layout out;
  out.name = "columns";
  out.kind = LayoutKind::columns;
  out.header = true;
  out.address = at("address");
  out.latitude = at("latitude");
  out.longitude = at("longitude");
  out.time = at("time");
  out.altitude = at("altitude_ft");
  out.signal = at("signal_dbfs");
  return out;
}

Result<Layout> read_layout(const std::string& name, const Value& table, const std::string& file) {
  const std::string title = fmt::format("[layout.{}]", name);
  const auto read = CheckedTable::make(&table, "layout", title, file);
  if (!read) return tl::unexpected(read.error());

  Layout out;
  out.name = name;
  out.kind = read->text("kind") == "columns" ? LayoutKind::columns : LayoutKind::ndjson;
  out.delimiter = read->text("delimiter")[0];
  out.header = read->boolean("header");
  out.missing = read->texts("missing");
  out.carry_s = read->number("carry_s");
  if (read->has("time_unit"))
    out.time_unit = read->text("time_unit") == "ms" ? TimeUnit::milliseconds : TimeUnit::seconds;
  if (out.kind == LayoutKind::ndjson)
    for (const std::string_view key : {"delimiter", "header"})
      if (read->has(key))
        return read->refuse(key, fmt::format("{} is for kind = \"columns\" only", key));
  if (read->has("altitude_ft") && read->has("altitude_m"))
    return read->refuse("altitude_m", "has both altitude_ft and altitude_m", "keep one");
  out.altitude_unit = read->has("altitude_m") ? AltitudeUnit::m : AltitudeUnit::ft;

  const LayoutTable fields(*read, out, title, file);
  for (const auto& [key, member] : {std::pair{"address", &Layout::address},
                                    {"latitude", &Layout::latitude},
                                    {"longitude", &Layout::longitude}}) {
    auto field = fields.field(key);
    if (!field) return tl::unexpected(field.error());
    out.*member = std::move(*field);
  }
  for (const auto& [key, member] :
       {std::pair{"time", &Layout::time},
        {read->has("altitude_m") ? "altitude_m" : "altitude_ft", &Layout::altitude},
        {"signal_dbfs", &Layout::signal},
        {"on_ground", &Layout::on_ground}}) {
    auto field = fields.optional_field(key);
    if (!field) return tl::unexpected(field.error());
    out.*member = std::move(*field);
  }
  if (const Value* list = read->value("keep")) {
    for (const Value& item : list->items) {
      auto keep = fields.keep(item);
      if (!keep) return tl::unexpected(keep.error());
      out.keep.push_back(std::move(*keep));
    }
  }
  if (auto ok = check_distinct(*read, out); !ok) return tl::unexpected(ok.error());
  return out;
}

}  // namespace roundel::config
