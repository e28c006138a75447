/* engine/scene/mtl_option.c: the options of lines that name a picture. */
#include <string.h>

#include "engine/scene/mtl.h"

const char *const mtl_unused_names[] = {"-t",     "-blendu off", "-blendv off", "-cc",
                                        "-boost", "-texres",     "-type",       NULL};

bool mtl_read_number(lb_scan *scan, double *out)
{
    lb_scan back = *scan;
    double value;

    if (lb_word_number(lb_scan_word(scan), &value) == LB_NUMERAL_FINITE) {
        *out = value;
        return true;
    }
    *scan = back;
    return false;
}

static bool read_switch(lb_scan *scan, bool *out)
{
    lb_word word = lb_scan_word(scan);

    *out = lb_word_is_like(word, "on");
    return *out || lb_word_is_like(word, "off");
}

/* u [v [w]] into the first two. */
static bool read_uvw(lb_scan *scan, double out[2])
{
    double w;

    if (!mtl_read_number(scan, &out[0]))
        return false;
    if (mtl_read_number(scan, &out[1]))
        (void)mtl_read_number(scan, &w);
    return true;
}

/* One option behind its name; false if it is none, or makes no sense. */
static bool read_option(lb_scan *scan, lb_word name, mtl_map *map)
{
    double ignored[2];
    bool on;
    lb_word word;

    if (lb_word_is(name, "-o"))
        return read_uvw(scan, map->offset);
    if (lb_word_is(name, "-s"))
        return read_uvw(scan, map->scale);
    if (lb_word_is(name, "-mm"))
        return mtl_read_number(scan, &map->base) && mtl_read_number(scan, &map->gain);
    if (lb_word_is(name, "-bm"))
        return mtl_read_number(scan, &map->bump);
    if (lb_word_is(name, "-clamp"))
        return read_switch(scan, &map->clamps);
    if (lb_word_is(name, "-imfchan")) {
        word = lb_scan_word(scan);
        map->channel = word.count == 1 ? word.at[0] : 0;
        return map->channel && strchr("rgbmlz", map->channel);
    }
    if (lb_word_is(name, "-colorspace")) {
        map->is_linear = lb_word_is_like(word = lb_scan_word(scan), "linear");
        return word.count > 0;
    }
    if (lb_word_is(name, "-t")) {
        map->unused |= 1u << MTL_T;
        return read_uvw(scan, ignored);
    }
    if (lb_word_is(name, "-blendu") || lb_word_is(name, "-blendv")) {
        if (!read_switch(scan, &on))
            return false;
        map->unused |= on ? 0 : 1u << (name.at[6] == 'u' ? MTL_BLENDU : MTL_BLENDV);
        return true;
    }
    if (lb_word_is(name, "-cc")) {
        map->unused |= 1u << MTL_CC;
        return read_switch(scan, &on);
    }
    if (lb_word_is(name, "-boost") || lb_word_is(name, "-texres")) {
        map->unused |= 1u << (name.at[1] == 'b' ? MTL_BOOST : MTL_TEXRES);
        return mtl_read_number(scan, ignored);
    }
    if (lb_word_is(name, "-type")) {
        map->unused |= 1u << MTL_TYPE;
        return lb_scan_word(scan).count > 0;
    }
    return false;
}

bool mtl_read_options(lb_scan *scan, mtl_map *map)
{
    while (lb_scan_more(scan) && *scan->at == '-') {
        lb_scan back = *scan;

        if (!read_option(scan, lb_scan_word(scan), map)) {
            *scan = back;
            return false;
        }
    }
    return true;
}

lb_word mtl_take_late_options(lb_word rest, mtl_map *map)
{
    for (size_t i = 1; i + 1 < rest.count; i++) {
        lb_scan scan = {rest.at + i, rest.at + rest.count, 1, false};
        mtl_map tried = *map;

        if (rest.at[i] != '-' || (rest.at[i - 1] != ' ' && rest.at[i - 1] != '\t'))
            continue;
        if (!mtl_read_options(&scan, &tried) || lb_scan_more(&scan))
            continue;
        *map = tried;
        for (rest.count = i; rest.count > 0; rest.count--)
            if (rest.at[rest.count - 1] != ' ' && rest.at[rest.count - 1] != '\t')
                break;
        return rest;
    }
    return rest;
}
