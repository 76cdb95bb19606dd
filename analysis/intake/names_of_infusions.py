"""Headers of what an infusion is: whose, on which driver, made up of what.

Of each column of `synonyms` the names it goes by, in the form that `normal` gives.
Words are trade usage, from memory (common practice, no source).
"""

#: Names by column, parted by ``|``.
HEADERS = {
    "ward": "ward|ward name|unit|location|loc|area|dept|department|clinical area|"
    "nursing unit|ward unit|team|community team|locality|site name|facility|service|"
    "setting|place of care|current location|base|hub|division|house|home|hospice|"
    "care home|wrd|in patient unit|floor|ward team|ward area|ward code",
    "patient_id": "nhs no|nhs number|nhs id|n h s no|n h s number|patient id|"
    "patient no|patient number|patient identifier|pt id|pt no|"
    "pid|mrn|medical record no|medical record number|hospital no|hospital number|"
    "hosp no|"
    "unit number|urn|ur no|case no|chart no|record no|client id|client no|resident id|"
    "subject|subject id|study id|nhi|health number|person id|identifier|patient|pt|"
    "pat id|pat no|pat mrn|patient mrn|resident|client|patient code|person|"
    "resident no|patient ref|client ref",
    "infusion_id": "infusion id|infusion|infusion no|infusion number|syringe id|"
    "syringe no|syringe number|run|run no|run id|csci id|csci no|chart no|chart number|"
    "order id|order no|prescription no|prescription id|sheet no|syringe run|"
    "infusion ref|syringe ref|chart id|order number|episode|infusion code|chart ref|"
    "syringe|syringe code",
    "driver_id": "driver no|driver number|driver id|device no|device number|device id|"
    "device|pump no|pump number|pump id|pump|serial|serial no|serial number|sn|asset|"
    "asset no|asset number|asset tag|equipment no|equipment id|machine no|unit no|"
    "syringe driver no|syringe pump no|barcode|inventory no|driver|syringe driver|"
    "sd no|machine|equipment|driver ref|syringe driver|driver serial|pump serial no|"
    "pump serial|device serial no",
    "started_at": "start time|started|time started|commenced|time commenced|"
    "commencement|date commenced|infusion start|start datetime|set up time|setup time|"
    "time set up|time connected|begun|begin time|on time|new syringe time|loaded at|"
    "started at|start date|date started|start|infusion started|start date time",
    "ended_at": "stop time|end time|finished|time finished|time stopped|discontinued|"
    "completed at|taken down|off time|syringe change time|changed at|finish|"
    "infusion end|ended at|off at|end date|ended|stopped at|date stopped|date ended|"
    "finished at|end datetime|end date time",
    "end_reason": "end reason|reason ended|reason for ending|reason stopped|why ended|"
    "reason for stopping|stop reason|outcome|reason ended by|reason infusion ended",
    "vtbi": "vtbi|volume to be infused|vol to infuse|to be infused|target volume|"
    "planned volume|volume to deliver|total volume|tv|set volume|volume limit|"
    "total to give|syringe total|intended volume|vol tbi",
    "start_volume_ml": "start volume|starting volume|initial volume|volume at start|v0|"
    "fill volume|filled to|total volume in syringe|loaded volume|syringe volume start|"
    "volume after priming|post prime volume|opening volume|syringe filled to|start vol|"
    "volume after prime|vol at start|starting vol|filled volume|new syringe volume|"
    "volume of new syringe|new syringe ml|volume in new syringe|new syringe filled to|"
    "new volume|volume after change|new syringe vol",
    "made_up_to_ml": "made up to|final volume|volume made up|made up volume|"
    "volume before priming|pre prime volume|made up vol|total made up|made to",
    "prime_volume": "prime|prime volume|priming volume|volume primed|line volume|"
    "prime loss|used to prime|dead space|line prime|primed with|extension volume|"
    "set volume prime|vol to prime|purge|purged",
    "planned_duration_h": "duration|over|run over|hours|infuse over|period|"
    "planned hours|infusion time|length of infusion|time period|total time|"
    "delivery time|hrs|to run over|expected duration|planned duration|run time|"
    "duration set|hours planned|planned for|planned over|planned time|run over hours|"
    "over hours|infuse over hours",
    "syringe_size_ml": "syringe size|syringe|size|syringe type|syringe ml|nominal size|"
    "syringe capacity|barrel size|size of syringe|syringe confirmed|syringe selected|"
    "detected syringe|syringe volume size|ml syringe|syringe in use",
    "drug": "drug|medication|medicine|additive|drug name|medication name|product|"
    "ingredient|prescribed drug",
    "dose": "dose|amount|drug dose|strength|quantity|prescribed dose|dose 24h|"
    "dose per 24 hours|daily dose|mg 24h|dose in syringe|24 hr dose|mg per day|mg",
    "dose_unit": "unit|dose unit|drug unit|units",
    "contents": "drugs|medicines|contents|syringe contents|drugs in syringe|"
    "medications|"
    "mixture|drugs and doses|contents of syringe|prescription|drug s|medication",
    "diluent": "diluent|dilutant|diluted with|solvent|made up with|carrier|base fluid|"
    "vehicle|made up in|fluid|mixed with|solution",
}
