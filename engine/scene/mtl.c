/* engine/scene/mtl.c: the lines of material libraries. "MTL material format", the appendix to the
 * description of OBJ, version 3.0; Pr, Pm and norm are a later, common extension. */
#include "engine/scene/mtl.h"

#include <math.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/hash.h"
#include "engine/media/media.h"

void word_tally_add(word_tally *tally, lb_word word, const char *why, int64_t line)
{
    int32_t i;

    for (i = 0; i < tally->count; i++)
        if (tally->kinds[i].word.count == word.count &&
            memcmp(tally->kinds[i].word.at, word.at, word.count) == 0)
            break;
    if (i == WORD_KINDS)
        i--;
    if (i == tally->count) {
        tally->count++;
        tally->kinds[i].word = word;
        tally->kinds[i].why = why;
        tally->kinds[i].line = line;
        tally->kinds[i].count = 0;
    }
    tally->kinds[i].count++;
}

/* What of a word can be shown: anything may stand in a file. */
static void show(lb_word word, char out[48])
{
    size_t n = word.count < 40 ? word.count : 40;

    for (size_t i = 0; i < n; i++)
        out[i] = word.at[i] > ' ' && word.at[i] < 127 ? word.at[i] : '?';
    out[n] = 0;
}

lb_status word_tally_report(reader *r, const word_tally *tally, const char *name)
{
    char where[READER_WHERE], word[48];

    for (int32_t i = 0; i < tally->count; i++) {
        lb_status status;

        show(tally->kinds[i].word, word);
        reader_where(where, name, tally->kinds[i].line);
        status = reader_fact(r, LB_FACT_DROPPED, where, "%s%s is not %s; lines of that kind: %lld.",
                             word, tally->kinds[i].why, *tally->kinds[i].why ? "used" : "known",
                             (long long)tally->kinds[i].count);
        if (status)
            return status;
    }
    return LB_OK;
}

void mtl_set_clear(mtl_set *set)
{
    for (size_t i = 0; i < set->material_count; i++) {
        lb_material_unref(&set->materials[i].made);
        for (int k = 0; k < MTL_MAP_COUNT; k++)
            lb_free(set->materials[i].maps[k].path);
    }
    for (size_t i = 0; i < set->library_count; i++) {
        lb_free(set->libraries[i]->name);
        lb_free(set->libraries[i]->bytes);
        lb_free(set->libraries[i]);
    }
    lb_free(set->libraries);
    lb_free(set->materials);
    lb_triple_table_clear(&set->names);
    *set = (mtl_set){0};
}

lb_status mtl_name_number(lb_triple_table *table, lb_word name, int32_t *number)
{
    lb_key key = lb_key_of(name.at, name.count);

    return lb_triple_table_find(table, (int32_t)key.low, (int32_t)(key.low >> 32),
                                (int32_t)key.high, number);
}

/* ---- Lines ---- */

typedef struct {
    mtl_set *set;
    mtl_library *library;
    const char *folder;
    lb_scan scan;
    mtl_material *material; /* that lines are about; NULL: none yet, or one that is not taken */
} parser;

static void note_broken(parser *p)
{
    if (p->library->broken++ == 0)
        p->library->broken_line = p->scan.line;
}

/* r [g b]; other ways of saying it are spectral curves and CIE XYZ. */
static bool read_color(parser *p, double out[3])
{
    double c[3];
    int count = 0;

    while (count < 3 && mtl_read_number(&p->scan, &c[count]))
        count++;
    if (count == 0 || count == 2 || lb_scan_more(&p->scan)) {
        note_broken(p);
        return false;
    }
    for (int i = 0; i < 3; i++) {
        c[i] = count == 1 ? c[0] : c[i];
        out[i] = c[i] < 0 ? 0 : c[i] > 1e6 ? 1e6 : c[i];
    }
    return true;
}

static bool read_value(parser *p, double *out)
{
    if (mtl_read_number(&p->scan, out) && !lb_scan_more(&p->scan))
        return true;
    note_broken(p);
    return false;
}

static lb_status read_map(parser *p, mtl_slot slot)
{
    mtl_map map = {.line = p->scan.line, .scale = {1, 1}, .gain = 1, .bump = 1};
    lb_word name;
    lb_status status;

    if (!mtl_read_options(&p->scan, &map))
        note_broken(p); /* what follows is taken as the name all the same */
    name = mtl_take_late_options(lb_scan_rest(&p->scan), &map);
    status = reader_path(p->folder, name, &map.was_absolute, &map.path);
    if (status == LB_FORMAT) {
        note_broken(p);
        return LB_OK;
    }
    if (status)
        return status;
    lb_free(p->material->maps[slot].path);
    p->material->maps[slot] = map;
    return LB_OK;
}

static lb_status begin_material(parser *p)
{
    lb_word name = lb_scan_rest(&p->scan);
    mtl_set *set = p->set;
    int32_t known = set->names.count, number;
    lb_status status = mtl_name_number(&set->names, name, &number);

    p->material = NULL;
    if (status)
        return status;
    if (number < known) { /* the first of a name counts */
        if (p->library->repeated++ == 0)
            p->library->repeated_line = p->scan.line;
        return LB_OK;
    }
    if (!lb_grow((void **)&set->materials, &set->material_capacity, set->material_count,
                 sizeof *set->materials))
        return LB_MEMORY;
    p->material = &set->materials[set->material_count++];
    *p->material =
        (mtl_material){.name = name, .library = p->library->name, .line = p->scan.line, .ns = 50};
    return LB_OK;
}

static void set_value(parser *p, uint32_t flag, double low, double high, double *out)
{
    double value;

    if (!read_value(p, &value))
        return;
    *out = value < low ? low : value > high ? high : value;
    p->material->given |= flag;
}

static const struct {
    const char *word, *why;
} unused_words[] = {
    {"map_Ka", " (a map of the ambient colour)"},
    {"map_Tr", " (a map of what is clear)"},
    {"map_Ps", " (a map of sheen)"},
    {"map_aat", " (antialiasing of maps)"},
    {"disp", " (displacement)"},
    {"map_disp", " (displacement)"},
    {"decal", " (a map that replaces the colour)"},
    {"refl", " (a reflection map)"},
    {"map_refl", " (a reflection map)"},
    {"sharpness", " (of reflections)"},
    {"Km", " (of bumps)"},
    {"Ps", " (sheen)"},
    {"Pc", " (clearcoat)"},
    {"Pcr", " (clearcoat)"},
    {"aniso", " (anisotropy)"},
    {"anisor", " (anisotropy)"},
};

/* Ka, Tf and Ni are written by habit: what they say is lost only if it says something. */
static void read_unused(parser *p, lb_word word)
{
    double c[3], one;

    for (size_t i = 0; i < sizeof unused_words / sizeof unused_words[0]; i++)
        if (lb_word_is(word, unused_words[i].word)) {
            word_tally_add(&p->library->unused, word, unused_words[i].why, p->scan.line);
            return;
        }
    if (lb_word_is(word, "Ka")) {
        if (read_color(p, c) && (c[0] > 0 || c[1] > 0 || c[2] > 0))
            word_tally_add(&p->library->unused, word,
                           " (the colour under ambient light, which is the diffuse one here)",
                           p->scan.line);
    } else if (lb_word_is(word, "Tf")) {
        if (read_color(p, c) && (c[0] != 1 || c[1] != 1 || c[2] != 1))
            word_tally_add(&p->library->unused, word, " (the colour of what shines through)",
                           p->scan.line);
    } else if (lb_word_is(word, "Ni")) {
        if (read_value(p, &one) && one != 1)
            word_tally_add(&p->library->unused, word, " (the index of refraction)", p->scan.line);
    } else {
        word_tally_add(&p->library->unused, word, "", p->scan.line);
    }
}

static bool slot_of(lb_word word, mtl_slot *out)
{
    static const struct {
        const char *word;
        mtl_slot slot;
    } slots[] = {
        {"map_Kd", MTL_KD},     {"map_Ks", MTL_KS},     {"map_Ns", MTL_NS}, {"map_Ke", MTL_KE},
        {"map_d", MTL_D},       {"map_bump", MTL_BUMP}, {"bump", MTL_BUMP}, {"norm", MTL_NORM},
        {"map_norm", MTL_NORM}, {"map_Kn", MTL_NORM},   {"map_Pr", MTL_PR}, {"map_Pm", MTL_PM},
    };

    for (size_t i = 0; i < sizeof slots / sizeof slots[0]; i++)
        if (lb_word_is_like(word, slots[i].word)) {
            *out = slots[i].slot;
            return true;
        }
    return false;
}

static void read_dissolve(parser *p)
{
    lb_scan back = p->scan;

    if (!lb_word_is(lb_scan_word(&p->scan), "-halo"))
        p->scan = back;
    else
        word_tally_add(&p->library->unused, (lb_word){back.at, 0},
                       "-halo of d (clearer where it is "
                       "seen face on)",
                       p->scan.line);
    set_value(p, MTL_HAS_D, 0, 1, &p->material->d);
}

static lb_status read_line(parser *p, lb_word word)
{
    mtl_material *m = p->material;
    double illum;
    mtl_slot slot;

    if (lb_word_is(word, "newmtl"))
        return begin_material(p);
    if (!m) {
        if (p->set->material_count == 0)
            note_broken(p);
        return LB_OK; /* of a material that was there already */
    }
    if (slot_of(word, &slot))
        return read_map(p, slot);
    if (lb_word_is(word, "Kd")) {
        m->given |= read_color(p, m->kd) ? MTL_HAS_KD : 0;
    } else if (lb_word_is(word, "Ks")) {
        m->given |= read_color(p, m->ks) ? MTL_HAS_KS : 0;
    } else if (lb_word_is(word, "Ke")) {
        m->given |= read_color(p, m->ke) ? MTL_HAS_KE : 0;
    } else if (lb_word_is(word, "Ns")) {
        set_value(p, MTL_HAS_NS, 0, 1e6, &m->ns);
    } else if (lb_word_is(word, "d")) {
        read_dissolve(p);
    } else if (lb_word_is(word, "Tr")) {
        set_value(p, MTL_HAS_TR, 0, 1, &m->tr);
    } else if (lb_word_is(word, "Pr")) {
        set_value(p, MTL_HAS_PR, 0, 1, &m->pr);
    } else if (lb_word_is(word, "Pm")) {
        set_value(p, MTL_HAS_PM, 0, 1, &m->pm);
    } else if (lb_word_is(word, "illum")) {
        if (read_value(p, &illum)) {
            m->illum = illum >= 0 && illum <= 10 ? (int64_t)illum : 2;
            m->given |= MTL_HAS_ILLUM;
        }
    } else {
        read_unused(p, word);
    }
    return LB_OK;
}

static lb_status read_lines(mtl_set *set, mtl_library *library, const char *folder)
{
    parser p = {.set = set,
                .library = library,
                .folder = folder,
                .scan = lb_scan_of(library->bytes, library->count, true)};

    while (p.scan.at < p.scan.end) {
        lb_word word = lb_scan_word(&p.scan);

        if (word.count > 0 && word.at[0] != '#') {
            lb_status status = read_line(&p, word);

            if (status)
                return status;
        }
        lb_scan_next_line(&p.scan);
    }
    return LB_OK;
}

static mtl_library *add_library(mtl_set *set, const char *path)
{
    const char *slash = strrchr(path, '/');
    mtl_library *library;

    if (!lb_grow((void **)&set->libraries, &set->library_capacity, set->library_count,
                 sizeof(mtl_library *)) ||
        !(library = lb_alloc(1, sizeof *library)))
        return NULL;
    if (!(library->name = lb_strdup(slash ? slash + 1 : path))) {
        lb_free(library);
        return NULL;
    }
    set->libraries[set->library_count++] = library;
    return library;
}

lb_status mtl_read(mtl_set *set, lb_diag *diag, lb_loc loc, const char *path)
{
    mtl_library *library = add_library(set, path);
    char *folder = lb_path_folder(path);
    lb_status status;

    if (!library || !folder)
        status = LB_MEMORY;
    else if ((status = lb_file_read(diag, loc, path, LB_MEDIA_MAX_BYTES, &library->bytes,
                                    &library->count)) == LB_OK)
        status = read_lines(set, library, folder);
    lb_free(folder);
    if (status == LB_MEMORY)
        lb_fail(diag, status, loc, "'%s': no room for it", path);
    return status;
}

lb_status mtl_report(reader *r, const mtl_set *set)
{
    char where[READER_WHERE];
    lb_status status = LB_OK;

    if (set->library_count > 0)
        status = reader_fact(r, LB_FACT_ASSUMED, r->name,
                             "Colours of materials are taken as linear, with the primaries of "
                             "Rec. 709; pictures of colours by what their format says, else as "
                             "sRGB. MTL says neither.");
    for (size_t i = 0; i < set->library_count && status == LB_OK; i++) {
        const mtl_library *library = set->libraries[i];

        status = word_tally_report(r, &library->unused, library->name);
        if (status == LB_OK && library->broken > 0) {
            reader_where(where, library->name, library->broken_line);
            lb_warn(r->diag, r->loc, "'%s': %s makes no sense and is passed over; %lld such lines",
                    r->path, where, (long long)library->broken);
            status = reader_fact(r, LB_FACT_DROPPED, where,
                                 "Lines that make no sense are passed over: %lld.",
                                 (long long)library->broken);
        }
        if (status == LB_OK && library->repeated > 0)
            status = reader_fact(
                r, LB_FACT_DROPPED, reader_where(where, library->name, library->repeated_line),
                "Materials with a name that is there already are passed over: %lld.",
                (long long)library->repeated);
    }
    return status;
}
