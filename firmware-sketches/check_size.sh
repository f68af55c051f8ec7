# check_size.sh ELF FLASH_BUDGET RAM_BUDGET: prints what a sketch takes, fails above the budget.
set -eu
avr-size -A "$1" | awk -v name="$(basename "$1" .elf)" -v flash_budget="$2" -v ram_budget="$3" '
  $1 == ".text" { flash += $2 }
  $1 == ".data" { flash += $2; ram += $2 }
  $1 == ".bss" || $1 == ".noinit" { ram += $2 }
  END {
    printf "%-14s flash %5d of %5d bytes, RAM %4d of %4d bytes\n", name, flash, flash_budget, ram, ram_budget
    if (flash == 0 || flash > flash_budget || ram > ram_budget) { print name ": above its budget"; exit 1 }
  }'
