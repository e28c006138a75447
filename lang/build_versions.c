/* lang/build_versions.c: `versions`, and what they and the command line set. */
#include <string.h>

#include "lang/build.h"

/* Words that stand for something else where a version's name could. */
static const char *const taken[] = {"all", "base"};

static void check_version(lb_build *build, const lb_yaml_entry *entry)
{
    static const char *const keys[] = {"params", "frame", NULL};
    const lb_yaml_node *params;
    char hint[LB_HINT];

    if (lb_build_check_name(build, entry->key))
        for (size_t i = 0; i < sizeof taken / sizeof taken[0]; i++)
            if (strcmp(entry->key->text, taken[i]) == 0)
                lb_build_fail(build, LB_INVALID, entry->key->loc,
                              "'%s' has a meaning of its own where versions are chosen; name this "
                              "one otherwise",
                              taken[i]);
    if (!lb_build_expect(build, entry->value, LB_YAML_MAPPING, entry->key->text))
        return;
    lb_build_check_keys(build, entry->value, keys, entry->key->text);
    params = lb_yaml_find(entry->value, "params");
    if (!params || !lb_build_expect(build, params, LB_YAML_MAPPING, "params"))
        return;
    for (int32_t i = 0; i < params->count; i++) {
        const lb_yaml_node *key = params->entries[i].key;

        if (!lb_build_find_param(build->units, key->text, key->length))
            lb_build_fail(
                build, LB_INVALID, key->loc, "the graph has no param '%.60s'%s", key->text,
                lb_build_map_hint(build, key->text, &build->units->body->param_names, hint));
    }
}

void lb_build_versions(lb_build *build, const lb_yaml_node *versions)
{
    lb_graph *graph = build->graph;

    if (!versions || !lb_build_expect(build, versions, LB_YAML_MAPPING, "versions") ||
        !(graph->versions =
              lb_build_alloc(build, (size_t)versions->count, sizeof *graph->versions)))
        return;
    if (versions->count > LB_MAX_VERSIONS)
        lb_build_fail(build, LB_LIMIT, versions->loc, "%d versions; a graph has at most %d",
                      (int)versions->count, LB_MAX_VERSIONS);
    for (int32_t i = 0; i < versions->count && i < LB_MAX_VERSIONS && !build->is_over; i++) {
        const lb_yaml_entry *entry = &versions->entries[i];

        graph->versions[i] = (lb_graph_version){entry->key->text, entry->key->loc};
        graph->version_count = i + 1;
        check_version(build, entry);
    }
}

/* The last setting of a name counts, and counts more than the version's. */
static void apply_settings(lb_build *build)
{
    char hint[LB_HINT];

    for (int32_t i = 0; i < build->setting_count; i++) {
        const lb_setting *setting = &build->settings[i];
        lb_named_value *param =
            lb_build_find_param(build->units, setting->name, strlen(setting->name));

        if (param)
            param->set = setting->value;
        else
            lb_build_fail(
                build, LB_INVALID, LB_NOWHERE, "setting %.60s: the graph has no such param%s",
                setting->name,
                lb_build_map_hint(build, setting->name, &build->units->body->param_names, hint));
    }
}

void lb_build_settings(lb_build *build)
{
    const lb_yaml_node *params = build->version ? lb_yaml_find(build->version, "params") : NULL;

    for (int32_t i = 0; params && params->kind == LB_YAML_MAPPING && i < params->count; i++) {
        const lb_yaml_entry *entry = &params->entries[i];
        lb_named_value *param =
            lb_build_find_param(build->units, entry->key->text, entry->key->length);

        if (param) {
            param->given = entry->value;
            param->given_in = build->units;
        }
    }
    apply_settings(build);
}
