#include "roundel/site/mask.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <fstream>
#include <optional>

namespace roundel::site {
namespace {

constexpr std::size_t largest_file = 4'000'000;
constexpr double lowest_elevation_deg = -10;

/// Which column holds what.
struct Columns {
  int bearing = -1, elevation = -1, range = -1, height = -1;
  std::size_t count = 0;
};

std::string_view trimmed(std::string_view text) {
  constexpr std::string_view blank = " \t\r";
  const auto first = text.find_first_not_of(blank);
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(blank) - first + 1);
}

std::vector<std::string_view> fields_of(std::string_view line) {
  std::vector<std::string_view> fields;
  for (;;) {
    const auto comma = line.find(',');
    fields.push_back(trimmed(line.substr(0, comma)));
    if (comma == std::string_view::npos) return fields;
    line.remove_prefix(comma + 1);
  }
}

std::optional<double> number_in(std::string_view text) {
  double value{};
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return {};
  return value;
}

/// As it may stand in a message.
std::string shown(std::string_view text) {
  std::string out = "\"";
  for (const char c : text.substr(0, 40))
    out += static_cast<unsigned char>(c) < 0x20 || c == 0x7f ? '?' : c;
  return out + (text.size() > 40 ? "...\"" : "\"");
}

/// One line of the file, read.
struct Row {
  double bearing_deg{};
  double elevation_deg{};
  double range_km{};
  int line{};
};

class Reader {
 public:
  Reader(const std::string& file, double antenna_m, double surface_m, const Refraction& refraction,
         double radius_km)
      : file_(file),
        antenna_m_(antenna_m),
        surface_m_(surface_m),
        refraction_(refraction),
        radius_km_(radius_km) {}

  Result<std::vector<MaskPoint>> read(std::string_view csv) {
    if (csv.starts_with("\xef\xbb\xbf")) csv.remove_prefix(3);
    while (!csv.empty()) {
      const auto end = std::min(csv.find('\n'), csv.size());
      ++line_;
      const std::string_view line = trimmed(csv.substr(0, end));
      csv.remove_prefix(std::min(end + 1, csv.size()));
      if (line.empty() || line.front() == '#') continue;
      if (auto ok = add(line); !ok) return tl::unexpected(ok.error());
    }
    return finish();
  }

 private:
  tl::unexpected<Error> refuse(int line, std::string what, std::string remedy) const {
    return fail(Errc::malformed, std::move(what),
                line > 0 ? fmt::format("{}:{}", file_, line) : file_, std::move(remedy));
  }

  Result<void> add(std::string_view line) {
    const auto fields = fields_of(line);
    if (columns_.count == 0) {
      const bool is_header = !number_in(fields[0]) && !fields[0].empty() &&
                             std::isalpha(static_cast<unsigned char>(fields[0].front()));
      if (auto ok = is_header ? name_columns(fields) : guess_columns(fields.size()); !ok) return ok;
      if (is_header) return {};
    }
    if (fields.size() != columns_.count)
      return refuse(line_, fmt::format("{} columns, not {}", fields.size(), columns_.count),
                    "write one line a bearing");
    std::vector<double> values;
    for (const auto field : fields) {
      const auto value = number_in(field);
      if (!value) return refuse(line_, shown(field) + " is not a number", "write one like 4.5");
      values.push_back(*value);
    }
    return add_row(values);
  }

  Result<void> name_columns(const std::vector<std::string_view>& names) {
    columns_.count = names.size();
    for (std::size_t i = 0; i < names.size(); ++i) {
      int* const column = names[i] == "bearing_deg"     ? &columns_.bearing
                          : names[i] == "elevation_deg" ? &columns_.elevation
                          : names[i] == "range_km"      ? &columns_.range
                          : names[i] == "height_m"      ? &columns_.height
                                                        : nullptr;
      if (!column)
        return refuse(line_, fmt::format("no column is called {}", shown(names[i])),
                      "name bearing_deg,elevation_deg or bearing_deg,range_km,height_m");
      if (*column >= 0)
        return refuse(line_, fmt::format("two columns are called {}", names[i]), "keep one");
      *column = static_cast<int>(i);
    }
    const bool is_whole = columns_.bearing >= 0 &&
                          (columns_.elevation >= 0 ? columns_.height < 0
                                                   : columns_.height >= 0 && columns_.range >= 0);
    if (is_whole) return {};
    return refuse(line_, "the columns do not make a mask",
                  "name bearing_deg,elevation_deg or bearing_deg,range_km,height_m");
  }

  Result<void> guess_columns(std::size_t count) {
    if (count == 2)
      columns_ = {0, 1, -1, -1, 2};
    else if (count == 3)
      columns_ = {0, -1, 1, 2, 3};
    else
      return refuse(line_, fmt::format("{} {}", count, count == 1 ? "column" : "columns"),
                    "write bearing,elevation or bearing,range,height");
    return {};
  }

  Result<void> add_row(const std::vector<double>& values) {
    const auto value = [&](int column) { return values[static_cast<std::size_t>(column)]; };
    Row row;
    row.line = line_;
    row.bearing_deg = value(columns_.bearing);
    if (!(row.bearing_deg >= 0 && row.bearing_deg <= 360))
      return refuse(line_, fmt::format("bearing {} is outside 0 to 360", row.bearing_deg),
                    "give it in degrees clockwise from true north");
    if (row.bearing_deg == 360) row.bearing_deg = 0;
    if (columns_.range >= 0) {
      row.range_km = value(columns_.range);
      const double least_km = columns_.height >= 0 ? 0.001 : 0;
      if (!(row.range_km >= least_km && row.range_km <= 500))
        return refuse(line_,
                      fmt::format("range {} km is outside {} to 500", row.range_km, least_km),
                      "give it in kilometres from the antenna");
    }
    if (columns_.height >= 0) {
      const double height_m = value(columns_.height);
      if (!(height_m >= -500 && height_m <= 9000))
        return refuse(line_, fmt::format("height {} m is outside -500 to 9000", height_m),
                      "give the top's height above mean sea level in metres");
      row.elevation_deg = elevation_of(row.range_km, height_m);
    } else {
      row.elevation_deg = value(columns_.elevation);
    }
    if (!(row.elevation_deg >= lowest_elevation_deg && row.elevation_deg < 90))
      return refuse(line_,
                    fmt::format("elevation {:.6g} is outside {} to below 90", row.elevation_deg,
                                lowest_elevation_deg),
                    "give it in degrees above the antenna's horizontal");
    rows_.push_back(row);
    return {};
  }

  double elevation_of(double range_km, double height_m) const {
    // Refraction counts heights below the surface as on it; an obstacle down there hides nothing.
    return refraction_.elevation_deg(radius_km_, antenna_m_ - surface_m_, height_m - surface_m_,
                                     range_km);
  }

  Result<std::vector<MaskPoint>> finish() {
    if (rows_.empty())
      return refuse(0, "holds no bearing", "write lines like 90,4.5: bearing, elevation");
    std::stable_sort(rows_.begin(), rows_.end(),
                     [](const Row& a, const Row& b) { return a.bearing_deg < b.bearing_deg; });
    std::vector<MaskPoint> points;
    std::vector<int> lines;
    for (const Row& row : rows_) {
      if (!points.empty() && points.back().bearing_deg == row.bearing_deg) {
        if (columns_.height < 0)
          return refuse(
              row.line,
              fmt::format("bearing {} is given by line {}, too", row.bearing_deg, lines.back()),
              "keep one");
        if (row.elevation_deg > points.back().elevation_deg)
          points.back() = {row.bearing_deg, row.elevation_deg, row.range_km};
        continue;
      }
      points.push_back({row.bearing_deg, row.elevation_deg, row.range_km});
      lines.push_back(row.line);
    }
    for (std::size_t i = 0; i < points.size(); ++i) {
      const bool is_last = i + 1 == points.size();
      const double next_deg =
          is_last ? points.front().bearing_deg + 360 : points[i + 1].bearing_deg;
      const double gap_deg = next_deg - points[i].bearing_deg;
      if (gap_deg > Mask::widest_gap_deg)
        return refuse(
            0,
            fmt::format("a gap of {:.6g} degrees after bearing {:.6g}", gap_deg,
                        points[i].bearing_deg),
            fmt::format("give a bearing at least every {} degrees", Mask::widest_gap_deg));
    }
    return points;
  }

  const std::string& file_;
  double antenna_m_, surface_m_;
  const Refraction& refraction_;
  double radius_km_;
  Columns columns_;
  int line_ = 0;
  std::vector<Row> rows_;
};

}  // namespace

Result<Mask> Mask::parse(std::string_view csv, const std::string& file, double antenna_m,
                         double surface_m, const Refraction& refraction, double radius_km) {
  auto points = Reader(file, antenna_m, surface_m, refraction, radius_km).read(csv);
  if (!points) return tl::unexpected(points.error());
  Mask mask;
  mask.points_ = std::move(*points);
  return mask;
}

Result<Mask> Mask::read(const std::filesystem::path& file, double antenna_m, double surface_m,
                        const Refraction& refraction, double radius_km) {
  std::error_code error;
  std::ifstream in(file, std::ios::binary);
  if (!in || std::filesystem::is_directory(file, error))
    return fail(Errc::not_found, "there is no such mask file", file.string(),
                "write one with roundel expect DB --survey FILE, or by hand");
  std::string text;
  for (char block[4096]; in.read(block, sizeof block) || in.gcount() > 0;) {
    text.append(block, static_cast<std::size_t>(in.gcount()));
    if (text.size() > largest_file)
      return fail(Errc::malformed, "is larger than 4 MB, not a mask", file.string());
  }
  if (in.bad()) return fail(Errc::io, "cannot be read", file.string());
  return parse(text, file.string(), antenna_m, surface_m, refraction, radius_km);
}

MaskPoint Mask::at(double bearing_deg) const noexcept {
  bearing_deg -= 360 * std::floor(bearing_deg / 360);
  const auto after = std::upper_bound(
      points_.begin(), points_.end(), bearing_deg,
      [](double bearing, const MaskPoint& point) { return bearing < point.bearing_deg; });
  const MaskPoint& high = after == points_.end() ? points_.front() : *after;
  const MaskPoint& low = after == points_.begin() ? points_.back() : *(after - 1);
  double width_deg = high.bearing_deg - low.bearing_deg;
  if (width_deg <= 0) width_deg += 360;
  double into_deg = bearing_deg - low.bearing_deg;
  if (into_deg < 0) into_deg += 360;
  const double part = into_deg / width_deg;
  return {bearing_deg, low.elevation_deg + part * (high.elevation_deg - low.elevation_deg),
          low.range_km + part * (high.range_km - low.range_km)};
}

std::string mask_csv(const std::vector<MaskPoint>& points,
                     const std::vector<std::string>& comments) {
  std::string out;
  for (const std::string& comment : comments) out += "# " + comment + "\n";
  out += "bearing_deg,elevation_deg\n";
  for (const MaskPoint& point : points)
    out += fmt::format("{:.6g},{:.3f}\n", point.bearing_deg, point.elevation_deg);
  return out;
}

}  // namespace roundel::site
