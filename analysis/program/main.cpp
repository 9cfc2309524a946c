// roundel: concludes from what roundeld has recorded.
#include "analysis/program/all_commands.h"

int main(int argc, char** argv) { return roundel::program::run_command_line(argc, argv); }
