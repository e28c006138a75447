/* tests/support/table.h: reads the check values in tests/data/tables.
 *
 * A table is CSV: comment lines with # (source, status), a header line, rows. Numbers read back
 * exactly. Header-only, for tests: what goes wrong ends the test. */
#ifndef LB_TESTS_SUPPORT_TABLE_H
#define LB_TESTS_SUPPORT_TABLE_H

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

typedef struct table {
    char *text;
    int rows, columns;
    char **cells; /* row by row; the header is row -1 */
} table;

static inline void table_die(const char *why, const char *name)
{
    fprintf(stderr, "table '%s': %s\n", name, why);
    abort();
}

static inline void table_free(table *t)
{
    free(t->text);
    free(t->cells);
    *t = (table){0};
}

/* tests/data/FOLDER/NAME.csv; free with table_free. */
static inline table table_load_from(const char *folder, const char *name)
{
    char path[512];
    table t = {0};
    FILE *file;
    long size = 0;
    size_t capacity = 0, count = 0;

    snprintf(path, sizeof path, "%s/%s/%s.csv", LB_TEST_DATA, folder, name);
    if (!(file = fopen(path, "rb")) || fseek(file, 0, SEEK_END) || (size = ftell(file)) <= 0)
        table_die("cannot be read", name);
    rewind(file);
    t.text = calloc(1, (size_t)size + 1);
    if (!t.text || fread(t.text, 1, (size_t)size, file) != (size_t)size)
        table_die("cannot be read", name);
    fclose(file);
    for (char *line = t.text, *end; *line; line = end) {
        int columns = 1;

        end = line + strcspn(line, "\n");
        if (*end)
            *end++ = 0;
        line[strcspn(line, "\r")] = 0;
        if (*line == '#' || !*line)
            continue;
        for (char *cell = line;; cell++, columns++) {
            if (count == capacity) {
                capacity = capacity ? capacity * 2 : 256;
                t.cells = realloc(t.cells, capacity * sizeof *t.cells);
                if (!t.cells)
                    table_die("no memory", name);
            }
            t.cells[count++] = cell;
            cell += strcspn(cell, ",");
            if (!*cell)
                break;
            *cell = 0;
        }
        if (!t.columns)
            t.columns = columns;
        if (columns != t.columns)
            table_die("a row has another number of cells than the header", name);
        t.rows++;
    }
    t.rows--;
    if (t.rows < 1)
        table_die("has no rows", name);
    return t;
}

/* tests/data/tables/NAME.csv */
static inline table table_load(const char *name)
{
    return table_load_from("tables", name);
}

static inline int table_column(const table *t, const char *name)
{
    for (int c = 0; c < t->columns; c++)
        if (strcmp(t->cells[c], name) == 0)
            return c;
    table_die("has no such column", name);
    return -1;
}

static inline const char *table_text(const table *t, int row, const char *column)
{
    return t->cells[(row + 1) * t->columns + table_column(t, column)];
}

static inline double table_number(const table *t, int row, const char *column)
{
    const char *text = table_text(t, row, column);
    char *end;
    double value = strtod(text, &end);

    if (end == text || *end)
        table_die("a cell is not a number", text);
    return value;
}

#endif
