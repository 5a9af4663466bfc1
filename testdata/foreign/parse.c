/* Reads an iCalendar file with libical, checks it against the restrictions of
 * its RFC tables, and prints its events, sorted by UID.
 * Build: cc -o parse parse.c -lical    Use: parse FILE
 */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void fail(const char *why, const char *what)
{
    fprintf(stderr, "%s: %s\n", why, what ? what : "(none)");
    exit(1);
}

static char *slurp(const char *path)
{
    FILE *f = fopen(path, "rb");
    if (!f) fail("cannot open", path);
    fseek(f, 0, SEEK_END);
    long n = ftell(f);
    rewind(f);
    char *text = malloc((size_t)n + 1);
    if (!text || fread(text, 1, (size_t)n, f) != (size_t)n) fail("cannot read", path);
    text[n] = 0;
    fclose(f);
    return text;
}

static void string(const char *key, const char *s)
{
    printf("\"%s\":\"", key);
    for (; s && *s; s++) {
        unsigned char c = (unsigned char)*s;
        if (c == '"' || c == '\\') printf("\\%c", c);
        else if (c == '\n') printf("\\n");
        else if (c < 0x20) printf("\\u%04x", c);
        else putchar(c);
    }
    putchar('"');
}

static void date(const char *key, icaltimetype t)
{
    char s[40];
    if (!icaltime_is_date(t)) fail("not a DATE", key);
    snprintf(s, sizeof s, "%04d-%02d-%02d", t.year, t.month, t.day);
    string(key, s);
}

/* Errors that the parser met are left in the tree as X-LIC-ERROR. */
static void no_errors(icalcomponent *c)
{
    icalproperty *e = icalcomponent_get_first_property(c, ICAL_XLICERROR_PROPERTY);
    if (e) fail("libical", icalproperty_as_ical_string(e));
    for (icalcomponent *s = icalcomponent_get_first_component(c, ICAL_ANY_COMPONENT); s;
         s = icalcomponent_get_next_component(c, ICAL_ANY_COMPONENT))
        no_errors(s);
}

static int by_uid(const void *a, const void *b)
{
    return strcmp(icalcomponent_get_uid(*(icalcomponent *const *)a),
                  icalcomponent_get_uid(*(icalcomponent *const *)b));
}

int main(int argc, char **argv)
{
    if (argc != 2) fail("use", "parse FILE");
    icalcomponent *cal = icalparser_parse_string(slurp(argv[1]));
    if (!cal || icalcomponent_isa(cal) != ICAL_VCALENDAR_COMPONENT) fail("not one VCALENDAR", argv[1]);
    no_errors(cal);
    icalrestriction_check(cal);
    no_errors(cal);

    int n = icalcomponent_count_components(cal, ICAL_VEVENT_COMPONENT), i = 0;
    icalcomponent **list = calloc((size_t)n + 1, sizeof *list);
    for (icalcomponent *e = icalcomponent_get_first_component(cal, ICAL_VEVENT_COMPONENT); e;
         e = icalcomponent_get_next_component(cal, ICAL_VEVENT_COMPONENT))
        list[i++] = e;
    qsort(list, (size_t)n, sizeof *list, by_uid);

    printf("[");
    for (i = 0; i < n; i++) {
        icalcomponent *e = list[i];
        icalproperty *m = icalcomponent_get_first_property(e, ICAL_LASTMODIFIED_PROPERTY);
        if (!m) fail("no LAST-MODIFIED", icalcomponent_get_uid(e));
        icaltimetype t = icalproperty_get_lastmodified(m);
        if (!icaltime_is_utc(t)) fail("LAST-MODIFIED not in UTC", icalcomponent_get_uid(e));
        char stamp[60];
        snprintf(stamp, sizeof stamp, "%04d-%02d-%02dT%02d:%02d:%02dZ",
                 t.year, t.month, t.day, t.hour, t.minute, t.second);
        printf("%s{", i ? "," : "");
        string("uid", icalcomponent_get_uid(e));
        putchar(',');
        date("start", icalcomponent_get_dtstart(e));
        putchar(',');
        date("end", icalcomponent_get_dtend(e));
        putchar(',');
        string("summary", icalcomponent_get_summary(e));
        printf(",\"sequence\":%d,", icalcomponent_get_sequence(e));
        string("last_modified", stamp);
        putchar(',');
        const char *description = icalcomponent_get_description(e);
        string("description", description ? description : "");
        printf(",\"properties\":%d", icalcomponent_count_properties(e, ICAL_ANY_PROPERTY));
        printf(",\"alarms\":%d}", icalcomponent_count_components(e, ICAL_VALARM_COMPONENT));
    }
    printf("]\n");
    return 0;
}
