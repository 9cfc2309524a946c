#include "analysis/config/layout.h"

#include <fmt/format.h>

#include <array>

#include "analysis/config/checked_table.h"
#include "roundel/config/time_zone.h"

namespace roundel::config {
namespace {

FieldAt at(std::string name) { return {.column = std::nullopt, .name = std::move(name)}; }

std::string_view name_of(LayoutKind kind) {
  return kind == LayoutKind::columns ? "columns" : kind == LayoutKind::pairs ? "pairs" : "ndjson";
}

// What a [layout] writes a place as, besides a column's number.
std::string_view place_key(LayoutKind kind) {
  return kind == LayoutKind::columns ? "name" : kind == LayoutKind::pairs ? "key" : "pointer";
}

bool is_place(std::string_view text) { return !text.empty() && is_pointer(text); }

class LayoutTable {
 public:
  LayoutTable(const CheckedTable& table, Layout& layout, const std::string& title,
              const std::string& file)
      : table_(table), layout_(layout), title_(title), file_(file) {}

  Result<FieldAt> field(std::string_view key) const {
    const Value& value = *table_.value(key);
    if (value.kind == Value::Kind::table) return outside_field(key, value);
    const bool is_columns = layout_.kind == LayoutKind::columns;
    if (value.kind == Value::Kind::integer) {
      if (layout_.kind == LayoutKind::pairs)
        return table_.refuse(key, fmt::format("{} is a column, but kind is \"pairs\"", key),
                             fmt::format("write the key: {} = \"{}\"", key, key));
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
    } else if (layout_.kind == LayoutKind::pairs) {
      if (value.text.empty()) return table_.refuse(key, fmt::format("{} is an empty key", key));
    } else if (!is_place(value.text)) {
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
    const std::string_view key = place_key(layout_.kind);
    if (read->has("column") + read->has("name") + read->has("key") + read->has("pointer") != 1)
      return read->refuse({}, "needs one of column, name, key and pointer");
    if (!read->has(key) && !(is_columns && read->has("column")))
      return read->refuse({},
                          fmt::format("has no {}, but kind is \"{}\"",
                                      is_columns ? "column or name" : key, name_of(layout_.kind)),
                          fmt::format("write {{ {} = ..., equals = ... }}",
                                      is_columns ? std::string_view("column") : key));
    Keep out;
    if (auto ok = keep_test(*read, out); !ok) return tl::unexpected(ok.error());
    if (read->has("column")) {
      out.at.column = read->integer("column");
      return out;
    }
    out.at.name = read->text(key);
    if (is_columns) {
      if (auto ok = needs_header(*read, key); !ok) return tl::unexpected(ok.error());
    } else if (layout_.kind == LayoutKind::ndjson && !is_place(out.at.name)) {
      return read->refuse(key, fmt::format("pointer {} is not a JSON Pointer", shown(out.at.name)),
                          "it begins with \"/\"");
    }
    return out;
  }

 private:
  Result<void> keep_test(const CheckedTable& read, Keep& out) const {
    const bool wants_absent = read.boolean("absent");
    if (read.has("equals") + read.has("lists") + read.has("lacks") + wants_absent != 1)
      return read.refuse({}, "needs one of equals, lists, lacks and absent = true");
    out.test = KeepTest::absent;
    for (const auto& [key, test] : {std::pair{"equals", KeepTest::equals},
                                    {"lists", KeepTest::lists},
                                    {"lacks", KeepTest::lacks}}) {
      if (!read.has(key)) continue;
      out.test = test;
      out.texts = read.texts(key);
      if (out.texts.empty()) return read.refuse(key, fmt::format("{} is an empty list", key));
    }
    return {};
  }

  // { outside = "/time" }
  Result<FieldAt> outside_field(std::string_view key, const Value& value) const {
    const Value* pointer = value.find("outside");
    if (value.entries.size() != 1 || !pointer || pointer->kind != Value::Kind::text ||
        !is_place(pointer->text))
      return table_.refuse(key, fmt::format("{} is a table", key),
                           fmt::format("write {} = {{ outside = \"/{}\" }}", key, key));
    if (!layout_.each)
      return table_.refuse(key, fmt::format("{} is outside of each, but there is no each", key),
                           fmt::format("write {} = {}", key, shown(pointer->text)));
    FieldAt out = at(pointer->text);
    out.outside = true;
    return out;
  }

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

// Some keys mean nothing to some kinds.
Result<void> check_kind_of_keys(const CheckedTable& table, LayoutKind kind) {
  struct Row {
    std::string_view key;
    bool columns, pairs, ndjson;
    std::string_view words;
  };
  for (const Row& row : {Row{"delimiter", true, true, false, "\"columns\" or \"pairs\""},
                         Row{"header", true, false, false, "\"columns\""},
                         Row{"between", false, true, false, "\"pairs\""},
                         Row{"each", false, false, true, "\"ndjson\""}}) {
    const bool fits = kind == LayoutKind::columns ? row.columns
                      : kind == LayoutKind::pairs ? row.pairs
                                                  : row.ndjson;
    if (table.has(row.key) && !fits)
      return table.refuse(row.key, fmt::format("{} is for kind = {} only", row.key, row.words));
  }
  return {};
}

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
  const std::string kind = read->text("kind");
  out.kind = kind == "columns" ? LayoutKind::columns
             : kind == "pairs" ? LayoutKind::pairs
                               : LayoutKind::ndjson;
  out.delimiter = read->text("delimiter")[0];
  out.header = read->boolean("header");
  out.missing = read->texts("missing");
  out.carry_s = read->number("carry_s");
  if (read->has("time_unit"))
    out.time_unit = read->text("time_unit") == "ms" ? TimeUnit::milliseconds : TimeUnit::seconds;
  if (auto ok = check_kind_of_keys(*read, out.kind); !ok) return tl::unexpected(ok.error());
  out.between = read->text("between")[0];
  if (read->has("each")) out.each = read->text("each");
  out.line_bytes = read->has("line_bytes") ? read->integer("line_bytes")
                   : out.each              ? most_line_bytes
                                           : usual_line_bytes;
  out.decimal_comma = read->text("decimal") == ",";
  if (read->has("zone")) {
    out.zone = read->text("zone");
    if (const auto zone = TimeZone::load(out.zone); !zone)
      return read->refuse("zone", "zone: " + zone.error().what, zone.error().remedy);
  }
  if (read->has("date") && !read->has("time"))
    return read->refuse("date", "has a date, but no time", "add time: the time of day");
  if (read->has("date") && out.zone.empty())
    return read->refuse("date", "has a date, but no zone",
                        "add zone = \"UTC\", or a name like \"Europe/Vienna\"");
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
        {"date", &Layout::date},
        {"age_s", &Layout::age},
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
