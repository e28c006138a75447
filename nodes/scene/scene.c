/* nodes/scene/scene.c: a scene from a file, and what is put right in it. */
#define PCRE2_CODE_UNIT_WIDTH 8
#include <pcre2.h>
#include <string.h>

#include "engine/base/file.h"
#include "engine/base/text.h"
#include "engine/graph/op.h"
#include "engine/scene/amend.h"
#include "engine/scene/import.h"

/* By what items are chosen: one of these is given. The order is that of lb_item_kind where they
 * are kinds. */
enum { BY_ITEM, BY_MESH, BY_LIGHT, BY_CAMERA, BY_MATERIAL, BY_COUNT };
static const char *const by_names[] = {"item", "mesh", "light", "camera", "material"};
static const char *const by_plurals[] = {"items", "meshes", "lights", "cameras", "materials"};

_Static_assert((int)BY_MESH == (int)LB_ITEM_MESH && (int)BY_LIGHT == (int)LB_ITEM_LIGHT &&
                   (int)BY_CAMERA == (int)LB_ITEM_CAMERA,
               "kinds in the same order");

typedef struct {
    const char *by[BY_COUNT];
} select_record;

typedef struct {
    bool visible;
    double position[3], rotation[4], scale[3];
    int32_t material;
    double color[4], intensity, range, cone, cone_inner, fov, near, far;
    int decay;
} set_record;

typedef struct {
    select_record select;
    set_record set;
} amend_record;

typedef struct {
    const char *file, *pin;
    lb_records amend;
} scene_params;

static const lb_param select_fields[] = {
    LB_PARAM_AS(select_record, by[BY_ITEM], "item", LB_TEXT, .fixed = true,
                .doc = "Things of any kind."),
    LB_PARAM_AS(select_record, by[BY_MESH], "mesh", LB_TEXT, .fixed = true, .doc = "Meshes."),
    LB_PARAM_AS(select_record, by[BY_LIGHT], "light", LB_TEXT, .fixed = true, .doc = "Lights."),
    LB_PARAM_AS(select_record, by[BY_CAMERA], "camera", LB_TEXT, .fixed = true, .doc = "Cameras."),
    LB_PARAM_AS(select_record, by[BY_MATERIAL], "material", LB_TEXT, .fixed = true,
                .doc = "Parts of meshes that have such a material, to give them another."),
    {0},
};

static const lb_param set_fields[] = {
    LB_PARAM(set_record, visible, LB_BOOL, .initial = {1}, .doc = "false hides it and all below."),
    LB_PARAM(set_record, position, LB_VEC3, .initial = {LB_UNSET}, .unit = LB_SCENE_UNITS,
             .doc = "Where it stands, below what it hangs on; ends an animation of that."),
    LB_PARAM(set_record, rotation, LB_ROTATION, .initial = {LB_UNSET},
             .doc = "How it is turned; ends an animation of that."),
    LB_PARAM(set_record, scale, LB_VEC3, .initial = {LB_UNSET}, .spread = true,
             .doc = "Its size along its axes; ends an animation of that."),
    LB_PARAM(set_record, material, LB_REF, .kind = LB_KIND_MATERIAL,
             .doc = "Meshes: what all of it is made of."),
    LB_PARAM(set_record, color, LB_COLOR, .initial = {LB_UNSET}, .min = 0, .max = 1e6,
             .doc = "Lights: the colour."),
    LB_PARAM(set_record, intensity, LB_NUMBER, .initial = {LB_UNSET}, .min = 0, .max = 1e9,
             .doc = "Lights: the strength, as the light operator has it for the same decay."),
    LB_PARAM(set_record, decay, LB_CHOICE, .names = lb_decay_names, .initial = {LB_UNSET},
             .doc = "Point and spot lights: how they get weaker with the distance."),
    LB_PARAM(set_record, range, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS, .doc = "Point and spot lights: where they end."),
    LB_PARAM(set_record, cone, LB_NUMBER, .initial = {LB_UNSET}, .min = 0.01, .max = 180,
             .unit = LB_DEGREES, .doc = "Spot lights: the whole angle of the cone."),
    LB_PARAM_AS(set_record, cone_inner, "cone-inner", LB_NUMBER, .initial = {LB_UNSET}, .min = 0,
                .max = 180, .unit = LB_DEGREES,
                .doc = "Spot lights: the whole angle that has the full strength."),
    LB_PARAM(set_record, fov, LB_NUMBER, .initial = {LB_UNSET}, .min = 0.01, .max = 179,
             .unit = LB_DEGREES, .doc = "Cameras: the vertical field of view."),
    LB_PARAM(set_record, near, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e9,
             .unit = LB_SCENE_UNITS, .doc = "Cameras: nothing nearer is seen."),
    LB_PARAM(set_record, far, LB_NUMBER, .initial = {LB_UNSET}, .min = 1e-6, .max = 1e12,
             .unit = LB_SCENE_UNITS, .doc = "Cameras: nothing beyond is seen."),
    {0},
};

static const lb_param amend_fields[] = {
    LB_PARAM(amend_record, select, LB_RECORD, .fields = select_fields,
             .fields_size = sizeof(select_record), .required = true,
             .doc = "What is put right: a regular expression that the whole name matches, of the "
                    "thing itself or of what the file calls its mesh, light or camera."),
    LB_PARAM(amend_record, set, LB_RECORD, .fields = set_fields, .fields_size = sizeof(set_record),
             .required = true, .doc = "What it is put to."),
    {0},
};

static const lb_param params[] = {
    LB_PARAM(scene_params, file, LB_FILE, .required = true, .fixed = true,
             .doc = "glTF 2.0 (.gltf with what lies beside it, or .glb), FBX 7 (.fbx with its "
                    "pictures), OBJ (.obj with its material libraries and pictures), PLY or STL."),
    LB_PARAM(scene_params, pin, LB_TEXT, .fixed = true,
             .doc = "sha256: and the file's SHA-256. With another file nothing is rendered until "
                    "someone has looked at it and has pinned it anew."),
    LB_PARAM(scene_params, amend, LB_RECORDS, .fields = amend_fields,
             .fields_size = sizeof(amend_record),
             .doc = "What the export got wrong, put right; later ones see what earlier ones did."),
    {0},
};

/* ---- Checks before anything is read ---- */

static lb_loc amend_loc(const lb_call *call)
{
    return lb_call_loc(call, "amend");
}

static uint32_t given_fields(const set_record *set)
{
    uint32_t given = 0;

    given |= (uint32_t)!set->visible << LB_AMEND_VISIBLE;
    given |= (uint32_t)lb_is_set(set->position[0]) << LB_AMEND_POSITION;
    given |= (uint32_t)lb_is_set(set->rotation[0]) << LB_AMEND_ROTATION;
    given |= (uint32_t)lb_is_set(set->scale[0]) << LB_AMEND_SCALE;
    given |= (uint32_t)(set->material >= 0) << LB_AMEND_MATERIAL;
    given |= (uint32_t)lb_is_set(set->color[0]) << LB_AMEND_COLOR;
    given |= (uint32_t)lb_is_set(set->intensity) << LB_AMEND_INTENSITY;
    given |= (uint32_t)(set->decay >= 0) << LB_AMEND_DECAY;
    given |= (uint32_t)lb_is_set(set->range) << LB_AMEND_RANGE;
    given |= (uint32_t)lb_is_set(set->cone) << LB_AMEND_CONE;
    given |= (uint32_t)lb_is_set(set->cone_inner) << LB_AMEND_CONE_INNER;
    given |= (uint32_t)lb_is_set(set->fov) << LB_AMEND_FOV;
    given |= (uint32_t)lb_is_set(set->near) << LB_AMEND_NEAR;
    given |= (uint32_t)lb_is_set(set->far) << LB_AMEND_FAR;
    return given;
}

/* Which of the five is given; -1: none, or more than one. */
static int chosen_by(const select_record *select)
{
    int chosen = -1;

    for (int i = 0; i < BY_COUNT; i++) {
        if (!select->by[i])
            continue;
        if (chosen >= 0)
            return -1;
        chosen = i;
    }
    return chosen;
}

/* A regular expression for a whole name, with limits, so that no pattern runs for long. */
typedef struct {
    pcre2_code *code;
    pcre2_match_data *data;
    pcre2_match_context *context;
    int error; /* of a match that ended by a limit or by bad UTF-8 */
} pattern;

static void pattern_free(pattern *p)
{
    pcre2_match_context_free(p->context);
    pcre2_match_data_free(p->data);
    pcre2_code_free(p->code);
    *p = (pattern){0};
}

static lb_status pattern_new(const lb_call *call, int32_t number, const char *text, pattern *out)
{
    const uint32_t options =
        PCRE2_UTF | PCRE2_UCP | PCRE2_NEVER_BACKSLASH_C | PCRE2_ANCHORED | PCRE2_ENDANCHORED;
    pcre2_compile_context *limits = pcre2_compile_context_create(NULL);
    PCRE2_SIZE offset = 0;
    int error = 0;

    *out = (pattern){0};
    if (limits) {
        pcre2_set_parens_nest_limit(limits, 50);
        pcre2_set_max_pattern_length(limits, 2000);
        out->code = pcre2_compile((PCRE2_SPTR)text, PCRE2_ZERO_TERMINATED, options, &error, &offset,
                                  limits);
    }
    pcre2_compile_context_free(limits);
    if (!out->code && error) {
        PCRE2_UCHAR why[160] = "";

        pcre2_get_error_message(error, why, sizeof why);
        return lb_fail(call->diag, LB_INVALID, amend_loc(call),
                       "amendment %d: '%s' is no regular expression: %s, at byte %zu", number, text,
                       (const char *)why, (size_t)offset);
    }
    if (out->code) {
        out->data = pcre2_match_data_create_from_pattern(out->code, NULL);
        out->context = pcre2_match_context_create(NULL);
    }
    if (!out->data || !out->context) {
        pattern_free(out);
        return lb_fail(call->diag, LB_MEMORY, amend_loc(call), "no room for a pattern");
    }
    pcre2_set_match_limit(out->context, 100000);
    pcre2_set_depth_limit(out->context, 10000);
    pcre2_set_heap_limit(out->context, 4096);
    return LB_OK;
}

static bool pattern_matches(void *context, const char *name)
{
    pattern *p = context;
    int answer = pcre2_match(p->code, (PCRE2_SPTR)name, strlen(name), 0, 0, p->data, p->context);

    if (answer < 0 && answer != PCRE2_ERROR_NOMATCH)
        p->error = answer;
    return answer >= 0;
}

static lb_status check_amendment(const lb_call *call, int32_t number, const amend_record *record)
{
    int by = chosen_by(&record->select);
    uint32_t given = given_fields(&record->set);
    lb_status status = LB_OK;
    pattern p;

    if (by < 0)
        return lb_fail(call->diag, LB_INVALID, amend_loc(call),
                       "amendment %d: 'select' takes one of item, mesh, light, camera, material",
                       number);
    if (given == 0)
        return lb_fail(call->diag, LB_INVALID, amend_loc(call),
                       "amendment %d: 'set' changes nothing", number);
    for (int i = 0; i < LB_AMEND_COUNT; i++) {
        bool fits = by == BY_ITEM ||
                    (by == BY_MATERIAL ? i == LB_AMEND_MATERIAL
                                       : lb_amend_fits((lb_item_kind)by, (lb_amend_field)i));

        if ((given >> i & 1) && !fits)
            status =
                lb_fail(call->diag, LB_INVALID, amend_loc(call), "amendment %d: %s have no '%s'",
                        number, by_plurals[by], lb_amend_names[i]);
    }
    if (by == BY_MATERIAL && record->set.material < 0)
        status = lb_fail(call->diag, LB_INVALID, amend_loc(call),
                         "amendment %d: selecting a material, 'set' takes a material", number);
    if (status || (status = pattern_new(call, number, record->select.by[by], &p)))
        return status;
    pattern_free(&p);
    return LB_OK;
}

/* "sha256:HEX" or HEX: the 64 digits, in small letters. */
static bool read_pin(const char *pin, char out[LB_SHA256_TEXT])
{
    if (strncmp(pin, "sha256:", 7) == 0)
        pin += 7;
    if (strlen(pin) != LB_SHA256_TEXT - 1)
        return false;
    for (int i = 0; i < LB_SHA256_TEXT; i++) {
        out[i] = pin[i] >= 'A' && pin[i] <= 'F' ? (char)(pin[i] - 'A' + 'a') : pin[i];
        if (out[i] && !strchr("0123456789abcdef", out[i]))
            return false;
    }
    return true;
}

static lb_status check_pin(const lb_call *call)
{
    const scene_params *p = call->params;
    char pinned[LB_SHA256_TEXT], found[LB_SHA256_TEXT];
    lb_loc loc = lb_call_loc(call, "pin");
    lb_status status;

    if (!p->pin)
        return LB_OK;
    if (!read_pin(p->pin, pinned))
        return lb_fail(call->diag, LB_INVALID, loc,
                       "'pin' is '%s'; it takes sha256: and 64 hexadecimal digits", p->pin);
    if (!call->files)
        return LB_OK;
    if ((status = lb_files_sha256(call->files, call->diag, loc, p->file, found)))
        return status;
    if (strcmp(pinned, found) != 0)
        return lb_fail(call->diag, LB_INVALID, loc,
                       "'%s' is another file than the one pinned: it is sha256:%s", p->file, found);
    return LB_OK;
}

static lb_status check(const lb_call *call)
{
    const scene_params *p = call->params;
    const amend_record *records = p->amend.items;
    lb_status status = LB_OK, one;

    for (int32_t i = 0; i < p->amend.count; i++)
        if ((one = check_amendment(call, i + 1, &records[i])))
            status = one;
    if (!lb_file_exists(p->file))
        return lb_fail(call->diag, LB_NOT_FOUND, lb_call_loc(call, "file"), "'%s' is not there",
                       p->file);
    one = check_pin(call);
    return status ? status : one;
}

/* ---- What decides the result ---- */

typedef struct {
    const lb_call *call;
    lb_hasher *hasher;
} hash_job;

static lb_status hash_file(void *context, const char *path)
{
    const hash_job *job = context;
    lb_loc loc = lb_call_loc(job->call, "file");
    lb_key key;
    lb_status status;

    if (!lb_file_exists(path)) {
        lb_hash_string(job->hasher, NULL);
        return LB_OK;
    }
    if ((status = lb_files_key(job->call->files, job->call->diag, loc, path, &key)))
        return status;
    lb_hash_key(job->hasher, key);
    return LB_OK;
}

static lb_status load(const lb_call *call, lb_file_content *out)
{
    const scene_params *p = call->params;
    lb_loc loc = lb_call_loc(call, "file");
    lb_status status = lb_files_load(call->files, call->diag, loc, p->file, out);

    if (status)
        return status;
    return lb_import_check(call->diag, loc, p->file, out->bytes, out->count);
}

static lb_status fingerprint(const lb_call *call, lb_hasher *hasher)
{
    const scene_params *p = call->params;
    hash_job job = {call, hasher};
    lb_file_content content;
    lb_status status = load(call, &content);

    if (status)
        return status;
    lb_hash_key(hasher, content.key);
    status = lb_import_files(call->diag, lb_call_loc(call, "file"), p->file, content.bytes,
                             content.count, hash_file, &job);
    if (status == LB_MEMORY)
        lb_fail(call->diag, status, lb_call_loc(call, "file"), "'%s': no room for it", p->file);
    return status;
}

/* ---- Amending ---- */

static lb_amendment amendment_of(const lb_task *task, const set_record *set)
{
    const double *t = set->position, *r = set->rotation, *s = set->scale;
    lb_amendment out = {
        .given = given_fields(set),
        .visible = set->visible,
        .trs = {{t[0], t[1], t[2]}, {r[0], r[1], r[2], r[3]}, {s[0], s[1], s[2]}},
        .color = {(float)set->color[0], (float)set->color[1], (float)set->color[2]},
        .intensity = set->intensity,
        .range = set->range,
        .cone_deg = set->cone,
        .cone_inner_deg = set->cone_inner,
        .fov_deg = set->fov,
        .near = set->near,
        .far = set->far,
        .decay = set->decay < 0 ? LB_DECAY_NONE : (lb_decay)set->decay,
    };

    if (set->material >= 0)
        out.material = task->inputs[set->material].material;
    return out;
}

/* Names that a pattern could have meant: of the items of that kind, or of materials. Lent. */
typedef struct {
    const char **names;
    size_t count, capacity;
} name_list;

static bool add_name(name_list *list, const char *name)
{
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->names[i], name) == 0)
            return true;
    if (!name[0])
        return true;
    if (!lb_grow((void **)&list->names, &list->capacity, list->count, sizeof *list->names))
        return false;
    list->names[list->count++] = name;
    return true;
}

#define MAX_NAMES 1000 /* looked through for near ones */

static bool list_names(const lb_scene *scene, int by, name_list *list)
{
    for (size_t i = 0; i < scene->item_count && list->count < MAX_NAMES; i++) {
        const lb_item *item = &scene->items[i];

        if (by != BY_MATERIAL && by != BY_ITEM && (int)item->kind != by)
            continue;
        if (by != BY_MATERIAL) {
            if (!add_name(list, item->name) || !add_name(list, item->data_name))
                return false;
            continue;
        }
        for (int32_t k = 0; item->mesh && k < item->mesh->primitive_count; k++)
            if (item->mesh->primitives[k].material &&
                !add_name(list, item->mesh->primitives[k].material->name))
                return false;
    }
    return true;
}

/* The nearest few, by edit distance, into the message. */
static lb_status fail_unmatched(const lb_call *call, int32_t number, const lb_scene *scene, int by,
                                const char *text)
{
    name_list list = {0};
    lb_text message = {0};
    lb_status status;

    if (list_names(scene, by, &list) && list.count > 0)
        lb_text_put(&message, "; there are ");
    for (int shown = 0; shown < 4 && list.count > 0; shown++) {
        size_t best = 0;

        for (size_t i = 1; i < list.count; i++)
            if (lb_text_distance(text, list.names[i]) < lb_text_distance(text, list.names[best]))
                best = i;
        lb_text_printf(&message, "%s'%s'", shown ? ", " : "", list.names[best]);
        list.names[best] = list.names[--list.count];
    }
    if (list.count > 0)
        lb_text_printf(&message, " and %zu more", list.count);
    status = lb_fail(call->diag, LB_INVALID, amend_loc(call),
                     "amendment %d: no %s has a name that matches '%s'%s", number, by_names[by],
                     text, message.bytes && !message.failed ? message.bytes : "");
    lb_text_clear(&message);
    lb_free(list.names);
    return status;
}

static lb_status amend_items(const lb_task *task, lb_scene *scene, int by, pattern *p,
                             const amend_record *record, int32_t *count)
{
    lb_amendment amendment = amendment_of(task, &record->set);
    const lb_call *call = &task->call;
    lb_status status = LB_OK;

    for (size_t i = 0; i < scene->item_count && status == LB_OK; i++) {
        const lb_item *item = &scene->items[i];
        int32_t parts = 0;

        if (by == BY_MATERIAL) {
            status = lb_scene_amend_material(scene, (int32_t)i, pattern_matches, p,
                                             amendment.material, &parts);
            *count += parts;
        } else if ((by == BY_ITEM || (int)item->kind == by) &&
                   (pattern_matches(p, item->name) || pattern_matches(p, item->data_name))) {
            ++*count;
            status = lb_scene_amend(scene, (int32_t)i, &amendment, call->diag, amend_loc(call));
        }
    }
    return status;
}

static lb_status amend(const lb_task *task, lb_scene *scene, int32_t number,
                       const amend_record *record)
{
    const lb_call *call = &task->call;
    int by = chosen_by(&record->select);
    const char *text = record->select.by[by];
    int32_t count = 0;
    lb_status status;
    pattern p;

    if ((status = pattern_new(call, number, text, &p)))
        return status;
    status = amend_items(task, scene, by, &p, record, &count);
    if (status == LB_OK && p.error)
        status = lb_fail(call->diag, LB_LIMIT, amend_loc(call),
                         "amendment %d: '%s' takes too long to match, or a name is no UTF-8",
                         number, text);
    else if (status == LB_OK && count == 0)
        status = fail_unmatched(call, number, scene, by, text);
    pattern_free(&p);
    return status;
}

static lb_status evaluate(const lb_task *task, lb_value *out)
{
    const lb_call *call = &task->call;
    const scene_params *p = call->params;
    const amend_record *records = p->amend.items;
    lb_import_options options = {.working = call->format->working};
    lb_file_content content;
    lb_status status;

    if ((status = load(call, &content)) ||
        (status = lb_import_read(task->pool, call->diag, lb_call_loc(call, "file"), p->file,
                                 content.bytes, content.count, &options, &out->scene)))
        return status;
    for (int32_t i = 0; i < p->amend.count && status == LB_OK; i++)
        status = amend(task, out->scene, i + 1, &records[i]);
    if (status)
        lb_scene_unref(&out->scene);
    return status;
}

const lb_op lb_op_scene = {
    .name = "scene",
    .summary = "A 3D scene from a file",
    .doc =
        "Meshes, materials, textures, cameras, lights and their animation. What the import "
        "assumed, "
        "converted or left out is listed by lampblack audit. The animation's time 0 is the first "
        "frame.",
    .group = "scene",
    .example = "  stand:\n"
               "    op: scene\n"
               "    file: stand.gltf\n"
               "    amend:\n"
               "      - select: {light: \"fire\"}\n"
               "        set: {decay: none, intensity: 2.5}\n"
               "      - select: {mesh: \"shelf.*\"}\n"
               "        set: {material: timber}\n"
               "  timber: {op: material, diffuse: \"#6b4a2f\", specular: 0.1}\n"
               "  last: {op: render, scene: stand, samples: 16}\n",
    .version = 1,
    .params = params,
    .params_size = sizeof(scene_params),
    .result = LB_KIND_SCENE,
    .check = check,
    .fingerprint = fingerprint,
    .evaluate = evaluate,
};
