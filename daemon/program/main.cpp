// roundeld: records what feeds report, and serves what was concluded.
int main() { return 2; }
