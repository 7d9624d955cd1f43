package campaign
