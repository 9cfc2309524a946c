#include "roundel/config/config.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <fstream>

#include "analysis/config/checked_table.h"
#include "analysis/config/keys.h"
#include "analysis/config/layout.h"
#include "analysis/config/toml_value.h"

namespace roundel::config {
namespace {

// A configuration of this size is a mistake (a recording given in its place, say).
constexpr std::size_t largest_file = 1 << 20;

// As the table of keys writes defaults.
std::string as_written(const Value& value) {
  switch (value.kind) {
    case Value::Kind::integer:
    case Value::Kind::number:
      return fmt::format("{}", value.number);
    case Value::Kind::boolean:
      return value.boolean ? "true" : "false";
    case Value::Kind::list: {
      std::string out;
      for (const Value& item : value.items) out += as_written(item) + ",";
      return out;
    }
    default:
      return fmt::format("\"{}\"", value.text);
  }
}

/// Reads one document into a Config, section by section, each method one section.
class Reader {
 public:
  Reader(const Value& document, std::filesystem::path file)
      : document_(document), file_(file.string()) {
    config_.file = std::move(file);
  }

  Result<Config> read() {
    using Step = Result<void> (Reader::*)();
    for (const Step step :
         {&Reader::shapes, &Reader::site, &Reader::expect, &Reader::store, &Reader::equipment,
          &Reader::layouts, &Reader::feeds, &Reader::web, &Reader::notify, &Reader::listeners})
      if (auto ok = (this->*step)(); !ok) return tl::unexpected(ok.error());
    return std::move(config_);
  }

 private:
  tl::unexpected<Error> refuse(int line, std::string what, std::string remedy = {}) const {
    return fail(Errc::bad_config, std::move(what), fmt::format("{}:{}", file_, line),
                std::move(remedy));
  }

  // Every section exists and is written as it should be.
  Result<void> shapes() {
    for (const auto& [name, value] : document_.entries) {
      const auto all = sections();
      const auto section = std::find_if(all.begin(), all.end(), [&, key = &name](const Section& s) {
        return s.name == *key && s.shape != Shape::inside;
      });
      if (section == all.end()) {
        std::vector<std::string> known;
        for (const Section& s : all)
          if (s.shape != Shape::inside) known.emplace_back(s.name);
        return refuse(value.line, fmt::format("there is no section {}", shown(name)),
                      suggestion(name, known, "there are"));
      }
      if (section->shape == Shape::list) {
        const bool is_list_of_tables =
            value.kind == Value::Kind::list &&
            std::all_of(value.items.begin(), value.items.end(),
                        [](const Value& item) { return item.kind == Value::Kind::table; });
        if (!is_list_of_tables)
          return refuse(value.line, fmt::format("{} may stand several times", name),
                        fmt::format("write [[{}]], with two brackets", name));
      } else if (value.kind != Value::Kind::table) {
        return refuse(value.line, fmt::format("{} is not a section", name),
                      section->shape == Shape::named ? fmt::format("write [{}.NAME]", name)
                                                     : fmt::format("write [{}]", name));
      }
    }
    for (const Section& section : sections())
      if (section.required && !document_.find(section.name))
        return refuse(1, fmt::format("no [{}]", section.name),
                      fmt::format("add [{}]: {}", section.name, section.meaning));
    return {};
  }

  Result<CheckedTable> table(const Value* value, std::string_view section,
                             const std::string& title) {
    auto out = CheckedTable::make(value, section, title, file_);
    if (!out || title.starts_with("[[")) return out;
    for (const Key& key : keys()) {
      if (key.section != section) continue;
      const Value* given = out->value(key.key);
      config_.settings[fmt::format("{} {}", title, key.key)] =
          given ? as_written(*given) : std::string(key.default_value);
    }
    return out;
  }

  Result<void> site() {
    const auto read = table(document_.find("site"), "site", "[site]");
    if (!read) return tl::unexpected(read.error());
    schema::SiteRow& site = config_.site;
    site.name = read->text("name");
    site.latitude_deg = read->number("latitude");
    site.longitude_deg = read->number("longitude");
    site.ground_m = read->number("ground_m");
    site.antenna_m = read->number("antenna_m");
    site.surface_m = read->has("surface_m") ? read->number("surface_m") : site.ground_m;
    config_.expect.sea_level_hpa = read->number("pressure_hpa");
    return {};
  }

  // What `roundel expect` goes by besides the site.
  Result<void> expect() {
    const auto air = table(document_.find("refraction"), "refraction", "[refraction]");
    if (!air) return tl::unexpected(air.error());
    site::RefractionSettings& refraction = config_.expect.refraction;
    const std::string method = air->text("method");
    refraction.method = method == "effective" ? site::RefractionMethod::effective
                        : method == "none"    ? site::RefractionMethod::none
                                              : site::RefractionMethod::ray;
    refraction.k = air->number("k");
    refraction.atmosphere = {air->number("surface_n"), air->number("scale_height_km"),
                             air->text("atmosphere") == "p835" ? site::Atmosphere::Profile::p835
                                                               : site::Atmosphere::Profile::p453};
    const auto mask = table(document_.find("mask"), "mask", "[mask]");
    if (!mask) return tl::unexpected(mask.error());
    if (mask->has("file"))
      config_.expect.mask_file = config_.file.parent_path() / mask->text("file");
    const auto terrain = table(document_.find("terrain"), "terrain", "[terrain]");
    if (!terrain) return tl::unexpected(terrain.error());
    if (terrain->has("folder"))
      config_.expect.terrain_folder = config_.file.parent_path() / terrain->text("folder");
    config_.expect.terrain_radius_km = terrain->number("radius_km");
    const auto feeder = table(document_.find("feeder"), "feeder", "[feeder]");
    if (!feeder) return tl::unexpected(feeder.error());
    site::Link& link = config_.expect.link;
    link.feeder = {feeder->number("length_m"), feeder->number("db_per_100m"),
                   feeder->integer("connectors"), feeder->number("connector_db")};
    const auto read = table(document_.find("link"), "link", "[link]");
    if (!read) return tl::unexpected(read.error());
    link.power_dbm = read->number("power_dbm");
    link.aircraft_antenna_dbi = read->number("aircraft_antenna_dbi");
    link.elements = read->integer("elements");
    link.threshold_dbm = read->number("threshold_dbm");
    link.receiver_noise_db = read->number("receiver_noise_db");
    link.amplifier_db = read->number("amplifier_db");
    link.amplifier_noise_db = read->number("amplifier_noise_db");
    link.ground = read->text("ground") == "two_ray" ? site::Ground::two_ray : site::Ground::smooth;
    link.roughness_m = read->number("roughness_m");
    return {};
  }

  Result<void> store() {
    const auto read = table(document_.find("store"), "store", "[store]");
    if (!read) return tl::unexpected(read.error());
    config_.store = config_.file.parent_path() / read->text("path");
    config_.hash_addresses = read->text("addresses") == "hashed";
    if (read->has("keep_cells_days"))
      config_.keep.hours = std::llround(read->number("keep_cells_days") * 24);
    if (read->has("keep_cells_mb"))
      config_.keep.bytes = std::llround(read->number("keep_cells_mb") * 1e6);
    config_.write_s = read->number("write_s");
    config_.queue_reports = read->integer("queue_reports");
    return {};
  }

  // Calls `use` for each [[section]], having checked it and that its name is new.
  template <class Use>
  Result<void> each(std::string_view section, Use use) {
    const Value* list = document_.find(section);
    if (!list) return {};
    std::vector<std::pair<std::string, int>> taken;
    for (const Value& item : list->items) {
      const auto read = table(&item, section, fmt::format("[[{}]]", section));
      if (!read) return tl::unexpected(read.error());
      const std::string name = read->text("name");
      for (const auto& [other, line] : taken)
        if (other == name)
          return read->refuse("name", fmt::format("name {} is taken by line {}", shown(name), line),
                              "choose another");
      taken.emplace_back(name, read->value("name")->line);
      if (Result<void> ok = use(*read); !ok) return ok;
    }
    return {};
  }

  Result<void> equipment() {
    for (const auto& [section, names] : {std::pair{"antenna", &config_.antennas},
                                         {"receiver", &config_.receivers},
                                         {"mount", &config_.mounts}}) {
      auto ok = each(section, [into = names](const CheckedTable& read) -> Result<void> {
        into->push_back(read.text("name"));
        return {};
      });
      if (!ok) return ok;
    }
    return {};
  }

  Result<void> layouts() {
    const Value* all = document_.find("layout");
    if (!all) return {};
    for (const auto& [name, value] : all->entries) {
      if (value.kind != Value::Kind::table)
        return refuse(value.line, fmt::format("layout.{} is {}", name, words(value.kind)),
                      "write [layout.NAME], with a name of your own");
      if (name == "ndjson" || name == "columns")
        return refuse(value.line, fmt::format("layout {} is built in", shown(name)),
                      "choose another name");
      auto layout = read_layout(name, value, file_);
      if (!layout) return tl::unexpected(layout.error());
      config_.layouts.push_back(std::move(*layout));
    }
    return {};
  }

  Result<void> feeds() {
    return each("feed", [this](const CheckedTable& read) { return feed(read); });
  }

  // The declared name that a feed's key holds.
  Result<std::string> declared(const CheckedTable& read, std::string_view key,
                               const std::vector<std::string>& names) const {
    std::string name = read.text(key);
    if (std::find(names.begin(), names.end(), name) != names.end()) return name;
    return read.refuse(key, fmt::format("{} {} is not declared", key, shown(name)),
                       names.empty() ? fmt::format("add [[{}]] with name = {}", key, shown(name))
                                     : suggestion(name, names, "declared are"));
  }

  Result<Layout> layout_named(const CheckedTable& read) const {
    const std::string name = read.text("layout");
    if (name == "ndjson") return default_ndjson();
    if (name == "columns") return default_columns();
    std::vector<std::string> known{"ndjson", "columns"};
    for (const Layout& layout : config_.layouts) {
      if (layout.name == name) return layout;
      known.push_back(layout.name);
    }
    return read.refuse("layout", fmt::format("layout {} does not exist", shown(name)),
                       suggestion(name, known, "there are"));
  }

  Result<void> feed(const CheckedTable& read) {
    Feed out;
    out.line = read.line();
    out.name = read.text("name");
    out.connect = read.connect("connect");
    out.listen = read.listen("listen");
    out.get = read.get("get");
    out.every_s = read.number("every_s");
    if (out.connect && out.listen)
      return read.refuse("listen", "has both connect and listen", "keep one");
    if (out.get && (out.connect || out.listen))
      return read.refuse(
          "get", out.connect ? "has both connect and get" : "has both listen and get", "keep one");
    if (read.has("every_s") && !out.get)
      return read.refuse("every_s", "every_s is for feeds with get only", "remove it");
    for (const auto& [key, names, member] :
         {std::tuple{"antenna", &config_.antennas, &Feed::antenna},
          {"receiver", &config_.receivers, &Feed::receiver},
          {"mount", &config_.mounts, &Feed::mount}}) {
      auto name = declared(read, key, *names);
      if (!name) return tl::unexpected(name.error());
      out.*member = std::move(*name);
    }
    auto layout = layout_named(read);
    if (!layout) return tl::unexpected(layout.error());
    out.layout = std::move(*layout);
    out.rotation_deg = std::fmod(read.number("rotation_deg"), 360.0);
    out.clock_is_arrival = read.text("clock") == "arrival";
    out.stall_s = read.number("stall_s");
    out.max_connections = read.integer("max_connections");
    config_.feeds.push_back(std::move(out));
    return {};
  }

  Result<void> web() {
    const auto read = table(document_.find("web"), "web", "[web]");
    if (!read) return tl::unexpected(read.error());
    web_line_ = read->has("listen") ? read->value("listen")->line : read->line();
    config_.web = read->boolean("enabled") ? read->listen("listen") : std::nullopt;
    if (read->has("names")) config_.web_names = read->texts("names");
    if (!read->has("token")) return {};
    config_.web_token = read->text("token");
    // It travels in a header field (RFC 6750's b68token), and one that can be guessed is none.
    constexpr std::string_view usable =
        "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~+/=";
    if (config_.web_token.size() < 16 ||
        config_.web_token.find_first_not_of(usable) != std::string::npos)
      return read->refuse("token", "is not a token",
                          "use 16 or more letters, digits and - . _ ~ + / =, for instance from "
                          "openssl rand -hex 16");
    return {};
  }

  Result<void> notify() {
    const auto read = table(document_.find("notify"), "notify", "[notify]");
    if (!read) return tl::unexpected(read.error());
    if (read->has("command")) config_.notify_command = read->text("command");
    config_.silent_after_s = read->number("silent_s");
    if (read->has("sensitivity_db")) config_.sensitivity_db = read->number("sensitivity_db");
    return {};
  }

  // No two may listen on one address. (That a wildcard covers another address is for the system
  // to say: it depends on the machine.)
  Result<void> listeners() {
    std::vector<std::pair<Endpoint, std::string>> taken;
    for (const Feed& feed : config_.feeds) {
      if (!feed.listen || feed.listen->port == 0) continue;
      for (const auto& [endpoint, by] : taken)
        if (endpoint == *feed.listen)
          return refuse(feed.line,
                        fmt::format("[[feed]] {} listens on {}, as does {}", shown(feed.name),
                                    endpoint.text(), by),
                        "choose another port");
      taken.emplace_back(*feed.listen, fmt::format("[[feed]] {}", shown(feed.name)));
    }
    if (!config_.web || config_.web->port == 0) return {};
    for (const auto& [endpoint, by] : taken)
      if (endpoint == *config_.web)
        return refuse(web_line_,
                      fmt::format("[web] listens on {}, as does {}", endpoint.text(), by),
                      "choose another port");
    return {};
  }

  const Value& document_;
  std::string file_;
  Config config_;
  int web_line_ = 1;
};

}  // namespace

std::vector<std::string> changed_settings(const Config& before, const Config& after) {
  std::vector<std::string> out;
  for (const auto& [key, value] : after.settings) {
    const auto at = before.settings.find(key);
    if (at == before.settings.end() || at->second != value) out.push_back(key);
  }
  return out;
}

Result<Config> parse(std::string_view toml, const std::filesystem::path& file) {
  auto document = read_toml(toml, file);
  if (!document) return tl::unexpected(document.error());
  return Reader(*document, file).read();
}

Result<Config> load(const std::filesystem::path& file) {
  std::error_code error;
  if (std::filesystem::is_directory(file, error))
    return fail(Errc::bad_config, "is a folder, not a configuration", file.string());
  std::ifstream in(file, std::ios::binary);
  if (!in)
    return fail(Errc::bad_config,
                std::filesystem::exists(file, error) ? "cannot be read" : "there is no such file",
                file.string(), "give the configuration with --config FILE");
  std::string text;
  for (char block[4096]; in.read(block, sizeof block) || in.gcount() > 0;) {
    text.append(block, static_cast<std::size_t>(in.gcount()));
    if (text.size() > largest_file)
      return fail(Errc::bad_config, "is larger than 1 MiB, not a configuration", file.string());
  }
  return parse(text, file);
}

}  // namespace roundel::config
