// Writes docs/configuration.md and docs/api.md from what the programs themselves go by: the table
// that validates roundel.toml, and the API's description. With --check it compares instead.
// Usage: generate_docs [--check] SOURCE_FOLDER
#include <fmt/format.h>

#include <algorithm>
#include <cstdio>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <string>

#include "roundel/config/config.h"

namespace {

using nlohmann::ordered_json;

std::string read(const std::string& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

/// In a cell of a Markdown table.
std::string cell(std::string text) {
  for (std::size_t at = 0; (at = text.find('|', at)) != std::string::npos; at += 2)
    text.insert(at, "\\");
  return text;
}

std::string configuration() {
  std::string out =
      "# Configuration: every section and key\n\n"
      "Generated from the table that `roundeld` validates the file by (`generate_docs`). A key "
      "that\n"
      "is not here does not exist and is refused, with the line and the nearest name. Paths are "
      "taken\n"
      "from the configuration's folder. A whole example: `analysis/simulate/demo/roundel.toml`.\n\n"
      "```sh\nroundeld check-config --config roundel.toml\n```\n";
  for (const auto& row : roundel::config::reference()) {
    if (row.key.empty()) {
      out += fmt::format(
          "\n## `{}`\n\n{}\n\n| key | value | range | default | meaning |\n| --- | --- | --- | --- "
          "| "
          "--- |\n",
          row.section, row.meaning);
      continue;
    }
    const bool is_word = row.default_value == "required" || row.default_value == "none";
    out += fmt::format("| `{}` | {}{} | {} | {} | {} |\n", row.key, cell(row.type),
                       row.unit.empty() ? "" : ", " + row.unit, row.range,
                       is_word ? (row.default_value == "none" ? "–" : row.default_value)
                               : "`" + row.default_value + "`",
                       cell(row.meaning));
  }
  return out;
}

/// "text", "number or null", "list of Sector" from a JSON Schema.
std::string type_of(const ordered_json& schema) {
  if (schema.contains("$ref")) {
    const auto name = schema["$ref"].get<std::string>();
    const auto word = name.substr(name.rfind('/') + 1);
    std::string anchor = word;
    std::transform(anchor.begin(), anchor.end(), anchor.begin(),
                   [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return fmt::format("[{}](#{})", word, anchor);
  }
  for (const char* key : {"oneOf", "anyOf"})
    if (schema.contains(key)) {
      std::string out;
      for (const auto& one : schema[key]) out += (out.empty() ? "" : " or ") + type_of(one);
      return out;
    }
  if (schema.contains("enum")) {
    std::string out;
    for (const auto& one : schema["enum"])
      out += (out.empty() ? "" : ", ") + ("`" + one.dump() + "`");
    return out;
  }
  if (!schema.contains("type")) return "any";
  const auto word = [&](const std::string& type) -> std::string {
    if (type == "array")
      return schema.contains("items") ? "list of " + type_of(schema["items"]) : "list";
    if (type == "object" && schema.contains("additionalProperties") &&
        schema["additionalProperties"].is_object())
      return "object, each " + type_of(schema["additionalProperties"]);
    return type == "string" && schema.value("format", "") == "date-time" ? "time" : type;
  };
  if (schema["type"].is_string()) return word(schema["type"]);
  std::string out;
  for (const auto& one : schema["type"]) out += (out.empty() ? "" : " or ") + word(one);
  return out;
}

void properties(const ordered_json& schema, const std::string& prefix, std::string& out) {
  if (!schema.contains("properties")) return;
  for (const auto& [key, value] : schema["properties"].items()) {
    out += fmt::format("| `{}{}` | {} | {} |\n", prefix, key, cell(type_of(value)),
                       cell(value.value("description", "")));
    const ordered_json* inner = &value;
    std::string path = prefix + key + ".";
    if (value.contains("items")) {
      inner = &value["items"];
      path = prefix + key + "[].";
    }
    if (inner->is_object()) properties(*inner, path, out);
  }
}

std::string api(const std::string& description) {
  const auto all = ordered_json::parse(description);
  const auto resolved = [&](const ordered_json& of) -> const ordered_json& {
    if (!of.contains("$ref")) return of;
    return all.at(ordered_json::json_pointer(of["$ref"].get<std::string>().substr(1)));
  };
  std::string out =
      "# The web API\n\n"
      "Generated from `daemon/serve/openapi.json`, which the server's tests hold against its "
      "answers\n"
      "and which it serves itself under `/api/openapi.json` (OpenAPI 3.1). Keys carry their units "
      "in\n"
      "their names; what is not known is null. Times are RFC 3339 UTC. `roundel ... --json` prints "
      "the\n"
      "same objects. What takes long to work out may be given as it was some time ago, at most "
      "two\n"
      "hours, when cells have come since; an `Age` field says how many seconds ago, 0 of what is "
      "right.\n\n"
      "| request | answers with |\n| --- | --- |\n";
  std::string sections;
  for (const auto& [path, item] : all["paths"].items())
    for (const auto& [method, operation] : item.items()) {
      std::string verb = method;
      std::transform(verb.begin(), verb.end(), verb.begin(),
                     [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
      out += fmt::format("| `{} {}` | {} |\n", verb, path, cell(operation.value("summary", "")));
      sections += fmt::format("\n## {} {}\n\n{}.\n", verb, path, operation.value("summary", ""));
      if (operation.contains("security"))
        sections += "\nNeeds the token (`Authorization: Bearer TOKEN`).\n";
      if (operation.contains("parameters")) {
        sections += "\n| key of the query | type | meaning |\n| --- | --- | --- |\n";
        for (const auto& one : operation["parameters"]) {
          const auto& parameter = resolved(one);
          sections += fmt::format("| `{}` | {} | {} |\n", parameter["name"].get<std::string>(),
                                  cell(type_of(parameter.value("schema", ordered_json::object()))),
                                  cell(parameter.value("description", "")));
        }
      }
      if (operation.contains("requestBody")) {
        sections += "\n| key of the body | type | meaning |\n| --- | --- | --- |\n";
        for (const auto& [media, of] : operation["requestBody"]["content"].items())
          properties(resolved(of["schema"]), "", sections);
      }
      sections += "\n| status | meaning | body |\n| --- | --- | --- |\n";
      for (const auto& [status, answer] : operation["responses"].items()) {
        const auto& of = resolved(answer);
        std::string body;
        const ordered_json contents = of.value("content", ordered_json::object());
        for (const auto& [media, content] : contents.items())
          body += fmt::format("{}`{}`: {}", body.empty() ? "" : ", ", media,
                              type_of(content.value("schema", ordered_json::object())));
        sections += fmt::format("| {} | {} | {} |\n", status, cell(of.value("description", "")),
                                cell(body));
      }
    }
  out += sections;
  for (const auto& [name, schema] : all["components"]["schemas"].items()) {
    out += fmt::format("\n## {}\n\n", name);
    if (schema.contains("description")) out += schema["description"].get<std::string>() + "\n\n";
    out += "| key | type | meaning |\n| --- | --- | --- |\n";
    properties(schema, "", out);
  }
  return out;
}

}  // namespace

int main(int argc, char** argv) {
  const bool is_check = argc == 3 && std::string(argv[1]) == "--check";
  if (argc != 2 && !is_check) {
    std::fprintf(stderr, "usage: generate_docs [--check] SOURCE_FOLDER\n");
    return 2;
  }
  const std::string source = argv[argc - 1];
  int stale = 0;
  const auto put = [&](const std::string& file, const std::string& text) {
    const std::string path = source + "/" + file;
    if (!is_check) {
      std::ofstream(path, std::ios::binary) << text;
    } else if (read(path) != text) {
      std::fprintf(stderr, "%s is not what generate_docs makes of it; run: generate_docs %s\n",
                   file.c_str(), source.c_str());
      ++stale;
    }
  };
  put("docs/configuration.md", configuration());
  put("docs/api.md", api(read(source + "/daemon/serve/openapi.json")));
  return stale == 0 ? 0 : 1;
}
