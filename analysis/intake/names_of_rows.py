"""Headers of rows as such: their numbers, amendments, and items with their values.

Of each column of `synonyms` the names it goes by, in the form that `normal` gives.
Words are trade usage, from memory (common practice, no source).
"""

#: Names by column, parted by ``|``.
HEADERS = {
    "row_id": "row|row id|row no|row number|record id|entry id|obs id|id|seq|sequence|"
    "record no|entry no|check id|record number|line in export|no|row ref|check no|"
    "observation id",
    "replaces": "replaces|replaces row|amends|corrects|amended from|supersedes|"
    "replaces id|correction of|amendment of|original row|corrects row|replaced row",
    "version": "version|version no|version number|revision|revision no|rev|rev no|ver|"
    "amendment no|edit no|entry version|row version|record version",
    "struck_out": "struck out|struck|deleted|void|voided|strikethrough|status|"
    "record status|in error|entered in error|row status|amendment status|cancelled|"
    "result status|strike out|entry status",
    "item": "item|item name|observation|observation name|parameter|measure|measurement|"
    "question|field|flowsheet item|row name|assessment|obs name|variable|attribute|"
    "flowsheet row name|flowsheet measure|flowsheet name|measure name|meas name|"
    "item description|name|observation type|flowsheet row|obs item|element",
    "value": "value|answer|result|reading|response|item value|observation value|"
    "measure value|meas value|flowsheet value|entered value|"
    "recorded value|charted value|entry value|obs value|data|finding|measured value",
    "units": "units|unit|rate unit|rate units|unit of rate|uom|unit of measure|"
    "value unit|value units|measure unit",
}
