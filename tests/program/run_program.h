// Runs the real programs as a person does, and keeps what they say.
#pragma once
#include <sys/wait.h>

#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <stdexcept>
#include <string>
#include <vector>

namespace roundel {

struct Ran {
  int code{};
  std::string out, err;
};

/// One word a piece, quoted for the shell.
inline Ran run_program(const std::string& program, const std::vector<std::string>& words,
                       const std::filesystem::path& scratch) {
  const std::string err_file = (scratch / "stderr.txt").string();
  std::string line = program;
  for (const std::string& word : words) {
    line += " '";
    for (const char c : word) line += c == '\'' ? std::string("'\\''") : std::string(1, c);
    line += '\'';
  }
  line += " 2>'" + err_file + "' </dev/null";
  FILE* pipe = popen(line.c_str(), "r");
  if (!pipe) throw std::runtime_error("cannot run " + line);
  Ran ran;
  char buffer[4096];
  for (std::size_t n; (n = fread(buffer, 1, sizeof buffer, pipe)) > 0;) ran.out.append(buffer, n);
  const int status = pclose(pipe);
  ran.code = WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
  std::ifstream err(err_file);
  ran.err.assign(std::istreambuf_iterator<char>(err), {});
  return ran;
}

}  // namespace roundel
